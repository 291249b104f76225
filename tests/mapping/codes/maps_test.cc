// The bundled code files: every code is of good form, has its source, and may be where it is.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <set>
#include <string>

#include "mapping/codes/check_digits.h"
#include "mapping/codes/tables.h"
#include "tests/mapping/codes/sources.h"

namespace dwell::codes {
namespace {

File Bundled(std::string_view name) {
  for (const File& file : BundledFiles()) {
    if (file.first == name) return file;
  }
  return {name, ""};
}

std::vector<Target> Targets(std::string_view name) {
  auto read = ReadConceptMap(Bundled(name));
  EXPECT_TRUE(read.has_value()) << read.error().message();
  return read ? *read : std::vector<Target>();
}

std::vector<Coding> Codings(std::string_view name) {
  std::vector<Coding> all;
  for (const Target& target : Targets(name)) {
    all.push_back(target.coding);
    all.insert(all.end(), target.also.begin(), target.also.end());
  }
  return all;
}

TEST(Maps, EverySnomedIdentifierIsAConceptWithARightCheckDigit) {
  int seen = 0;
  for (const auto* name : {"free.conceptmap.json", "licensed.conceptmap.json"}) {
    for (const Coding& coding : Codings(name)) {
      if (coding.system != kSnomedCt) continue;
      ++seen;
      EXPECT_TRUE(IsSnomedConceptId(coding.code)) << coding.code;
    }
  }
  EXPECT_GT(seen, 90);
}

TEST(Maps, EveryLoincIdentifierHasARightCheckDigit) {
  int seen = 0;
  for (const auto* name : {"free.conceptmap.json", "licensed.conceptmap.json"}) {
    for (const Coding& coding : Codings(name)) {
      if (coding.system != kLoinc) continue;
      ++seen;
      EXPECT_TRUE(IsLoincNumber(coding.code)) << coding.code;
    }
  }
  EXPECT_EQ(seen, 4);
}

TEST(Maps, TheFreeMapUsesOnlyCodesThatMayBeGivenAway) {
  for (const Coding& coding : Codings("free.conceptmap.json")) {
    EXPECT_TRUE(Lists(kFreeCodes, coding.system, coding.code, coding.display))
        << coding.system << " " << coding.code << " " << coding.display;
  }
}

TEST(Maps, TheLicensedMapUsesOnlyCodesWithASource) {
  for (const Coding& coding : Codings("licensed.conceptmap.json")) {
    EXPECT_TRUE(Lists(kLicensedCodes, coding.system, coding.code, coding.display))
        << coding.code << " " << coding.display;
  }
}

TEST(Maps, NoSnomedCodeIsFreeUnlessItIsInTheGlobalPatientSet) {
  for (const SourcedCode& row : kFreeCodes) {
    if (row.system == kSnomedCt) {
      EXPECT_EQ(row.source, kGps) << row.code;
    }
  }
  for (const SourcedCode& row : kLicensedCodes) EXPECT_NE(row.source, kGps) << row.code;
}

TEST(Maps, CodesKnownToBeWrongAreNowhere) {
  const std::set<std::string_view> rejected(std::begin(kRejected), std::end(kRejected));
  for (const auto* name : {"free.conceptmap.json", "licensed.conceptmap.json"}) {
    for (const Coding& coding : Codings(name))
      EXPECT_FALSE(rejected.contains(coding.code)) << coding.code;
  }
}

TEST(Maps, FilesCarryTheNoticesThatTheirCodesRequire) {
  const auto text = [](std::string_view name) { return std::string(Bundled(name).second); };
  EXPECT_THAT(text("free.conceptmap.json"),
              testing::AllOf(testing::HasSubstr("http://loinc.org/license"),
                             testing::HasSubstr("creativecommons.org/licenses/by/4.0"),
                             testing::HasSubstr("Global Patient Set")));
  EXPECT_THAT(text("licensed.conceptmap.json"), testing::HasSubstr("SNOMED CT licence"));
}

TEST(CodeSystem, KnowsTheCodesThatTheEventContractListsByName) {
  const auto own = ReadCodeSystem(Bundled("line-care.codesystem.json"));
  ASSERT_TRUE(own.has_value()) << own.error().message();
  const auto has = [&](std::string_view group, std::string_view code) {
    return std::any_of(own->begin(), own->end(), [&](const OwnConcept& each) {
      return each.code == code && std::count(each.groups.begin(), each.groups.end(), group) == 1;
    });
  };
  const std::pair<std::string_view, std::vector<std::string_view>> kListed[] = {
      {"finding", {"present", "absent", "not-assessable"}},
      {"answer", {"yes", "no", "not-known"}},
      {"side", {"left", "right"}},
      {"dressing-condition", {"intact", "loose", "damp", "soiled"}},
      {"patency", {"patent", "sluggish", "blocked"}},
      {"scale", {"visual-infusion-phlebitis", "ins-phlebitis"}},
      {"due-rule",
       {"removal-due", "site-check-due", "dressing-change-due", "remove-now", "post-removal-watch",
        "insertion-record-missing", "policy-missing"}},
      {"stage",
       {"not-yet-due", "due-soon", "due", "overdue", "settled", "no-longer-needed",
        "entered-in-error"}},
      {"reason",
       {"phlebitis-grade", "phlebitis-signs", "phlebitis-definition", "infiltration-grade",
        "infiltration-signs", "swelling-on-flush", "no-longer-required", "patient-group-unknown",
        "infusion-unknown", "wrong-patient", "wrong-line", "duplicate-entry", "not-done", "other"}},
  };
  for (const auto& [group, codes] : kListed) {
    for (const auto code : codes) EXPECT_TRUE(has(group, code)) << group << " " << code;
  }
}

}  // namespace
}  // namespace dwell::codes
