// The ValueSets of mapping/codes/valuesets hold what the program sends, and nothing else: they are
// compared with the loaded code map, with the words in the sources of mapping, and with what was
// sent in the golden pairs.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <map>
#include <regex>
#include <set>
#include <sstream>
#include <string>

#include "mapping/codes/codes.h"
#include "mapping/codes/vocabulary.h"
#include "schemas/json/document.h"

namespace dwell::codes {
namespace {

namespace fs = std::filesystem;
using schemas::Document;
using schemas::ParseLimits;
using schemas::Value;
using Sets = std::map<std::string, std::set<std::string>>;  // group -> "system code display"

const fs::path kTop = DWELL_SOURCE_DIR;

std::string Read(const fs::path& file) {
  std::ostringstream text;
  text << std::ifstream(file, std::ios::binary).rdbuf();
  return text.str();
}

std::string Text(Value object, std::string_view name) {
  const auto found = object.Find(name);
  return found ? std::string(found->AsString()) : std::string();
}

std::string Row(const std::string& system, const std::string& code, const std::string& display) {
  return system + " " + code + " " + display;
}

/// Our own codes stand without a display: the CodeSystem has it.
std::string Row(const Coding& coding) {
  const bool own = coding.system == kOurSystem;
  return Row(coding.system, coding.code, own ? "" : coding.display);
}

Sets SetsOnDisk() {
  Sets sets;
  for (const auto& file : fs::directory_iterator(kTop / "mapping/codes/valuesets")) {
    if (file.path().extension() != ".json") continue;
    const auto document = Document::Parse(Read(file.path()));
    EXPECT_TRUE(document.has_value()) << file.path();
    const std::string group = file.path().stem().stem();
    EXPECT_EQ(Text(document->root(), "url"),
              "https://dwelld.example/fhir/ValueSet/line-care-" + group);
    const Value includes = *document->root().Find("compose")->Find("include");
    for (const Value include : includes) {
      const Value concepts = *include.Find("concept");
      for (const Value each : concepts) {
        const bool added =
            sets[group]
                .insert(Row(Text(include, "system"), Text(each, "code"), Text(each, "display")))
                .second;
        EXPECT_TRUE(added) << group << " has a code twice: " << Text(each, "code");
      }
    }
  }
  return sets;
}

/// What the loaded map sends for the codes of each group, whatever they are qualified by, and the
/// codes themselves: a site's map may take the target away.
Sets SetsOf(const CodeMap& codes) {
  std::map<std::string, std::vector<std::string>> by_group;
  for (const OwnCode& own : codes.OwnCodes())
    by_group[std::string(own.group)].emplace_back(own.code);
  Sets sets;
  for (const auto& [group, members] : by_group) {
    std::vector<std::string> qualifiers = {""};
    for (const auto& [qualified, by] : kQualifiers) {
      if (qualified == group) {
        const auto& more = by_group[std::string(by)];
        qualifiers.insert(qualifiers.end(), more.begin(), more.end());
      }
    }
    for (const std::string& code : members) {
      sets[group].insert(Row(std::string(kOurSystem), code, ""));
      for (const std::string& qualifier : qualifiers) {
        const Found found = codes.Find(group, code, qualifier);
        EXPECT_TRUE(found->also_json.empty()) << "the sets would have to list it: " << code;
        for (const Coding& coding : found->codings) sets[group].insert(Row(coding));
      }
    }
  }
  return sets;
}

std::vector<std::string> Without(const std::set<std::string>& all,
                                 const std::set<std::string>& less) {
  std::vector<std::string> left;
  std::ranges::set_difference(all, less, std::back_inserter(left));
  return left;
}

TEST(ValueSets, HoldExactlyWhatTheFreeMapSendsForTheCodesOfTheirGroup) {
  const auto codes = CodeMap::LoadBundled(CodeMap::Edition::kFree);
  ASSERT_TRUE(codes.has_value()) << codes.error().message();
  const Sets sent = SetsOf(*codes);
  const Sets listed = SetsOnDisk();
  ASSERT_EQ(listed.size(), sent.size());
  EXPECT_GT(sent.size(), 20U);
  for (const auto& [group, rows] : sent) {
    EXPECT_THAT(Without(rows, listed.at(group)), testing::IsEmpty()) << "missing in " << group;
    EXPECT_THAT(Without(listed.at(group), rows), testing::IsEmpty()) << "never sent: " << group;
  }
}

/// Every file of the sources in mapping/fhir and mapping/due.
std::vector<std::string> Sources() {
  std::vector<std::string> texts;
  for (const auto* room : {"mapping/fhir", "mapping/due"}) {
    for (const auto& file : fs::directory_iterator(kTop / room)) texts.push_back(Read(file.path()));
  }
  return texts;
}

TEST(ValueSets, HoldEveryCodeThatTheSourcesNameWithItsGroup) {
  const Sets sets = SetsOnDisk();
  const std::regex named("\"([a-z-]+)\",\\s*\"([a-z0-9.-]+)\"");
  int seen = 0;
  for (const std::string& text : Sources()) {
    for (std::sregex_iterator at(text.begin(), text.end(), named), end; at != end; ++at) {
      const auto group = sets.find((*at)[1]);
      // "outcome", "outcome": name of a member and its group, not a group and its code.
      if (group == sets.end() || sets.contains((*at)[2])) continue;
      ++seen;
      EXPECT_TRUE(group->second.contains(Row(std::string(kOurSystem), (*at)[2], ""))) << at->str();
    }
  }
  EXPECT_GT(seen, 25);
}

/// Calls `visit` with every Coding of our system below `value`.
template <class Visit>
void ForOurCodings(Value value, const Visit& visit) {
  if (value.is_object() && value.Find("code") && value.Find("system") &&
      value.Find("system")->is_string() && value.Find("system")->AsString() == kOurSystem) {
    visit(value);
  }
  if (!value.is_array() && !value.is_object()) return;
  for (const Value child : value) ForOurCodings(child, visit);
}

TEST(CodeSystem, HasEveryCodeThatTheGoldenPairsSentWithADisplay) {
  const auto codes = CodeMap::LoadBundled(CodeMap::Edition::kFree);
  ASSERT_TRUE(codes.has_value());
  std::set<std::string> known;
  for (const OwnCode& own : codes->OwnCodes()) known.emplace(own.code);
  std::set<std::string> sent;
  for (const auto& file : fs::recursive_directory_iterator(kTop / "tests/golden")) {
    if (file.path().filename() != "out.json") continue;
    const auto document = Document::Parse(Read(file.path()), ParseLimits{.bytes_max = 1 << 24});
    ASSERT_TRUE(document.has_value()) << file.path();
    ForOurCodings(document->root(), [&](Value coding) {
      const std::string code = Text(coding, "code");
      // A word of a ward that we do not know goes out without a display.
      EXPECT_EQ(coding.Find("display").has_value(), known.contains(code)) << file.path() << code;
      sent.insert(code);
    });
  }
  EXPECT_GT(sent.size(), 80U);
}

}  // namespace
}  // namespace dwell::codes
