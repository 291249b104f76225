// What mapping/fhir says of our profiles, held against schemas/profiles themselves: the names that
// meta.profile may carry, and that no addition of a site can break a profile.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <map>
#include <set>
#include <string>

#include "mapping/fhir/additions.h"
#include "mapping/fhir/meta.h"
#include "mapping/fhir/plan.h"
#include "schemas/bundled.h"
#include "tests/support/temp_folder.h"

namespace dwell::fhir {
namespace {

using schemas::Document;
using schemas::Value;

struct Profile {
  std::string canonical;  ///< with its version
  Document definition;
};

std::filesystem::path FolderOf(FhirRelease release) {
  const std::filesystem::path root = DWELL_SOURCE_DIR "/schemas/profiles";
  return root / (release == FhirRelease::kR5 ? "r5" : "r4");  // R4B has those of R4
}

/// By resource type.
std::map<std::string, Profile> ProfilesOf(FhirRelease release) {
  std::map<std::string, Profile> profiles;
  for (const auto& file : std::filesystem::directory_iterator(FolderOf(release))) {
    auto document = Document::Parse(test::ReadBytes(file.path()));
    EXPECT_TRUE(document.has_value()) << file.path();
    const Value root = document->root();
    if (root.Find("resourceType")->AsString() != "StructureDefinition") continue;
    std::string canonical(root.Find("url")->AsString());
    canonical.append("|").append(root.Find("version")->AsString());
    std::string type(root.Find("type")->AsString());
    EXPECT_FALSE(profiles.contains(type)) << type;
    profiles.emplace(std::move(type), Profile{canonical, std::move(*document)});
  }
  return profiles;
}

std::set<std::string> TypesOf(FhirRelease release) {
  std::set<std::string> types = {"Provenance"};
  for (int role = 0; role <= static_cast<int>(Role::kTask); ++role) {
    const auto one = static_cast<Role>(role);
    if (one == Role::kAssociation && release != FhirRelease::kR5) continue;
    types.emplace(TypeOf(one, release));
  }
  return types;
}

constexpr FhirRelease kReleases[] = {FhirRelease::kR4, FhirRelease::kR4B, FhirRelease::kR5};

TEST(ProfileOf, NamesForEveryTypeThatWeMakeTheProfileOfThatRelease) {
  for (const FhirRelease release : kReleases) {
    std::map<std::string, std::string> named;
    for (const std::string& type : TypesOf(release)) named[type] = ProfileOf(type);
    std::map<std::string, std::string> defined;
    for (const auto& [type, profile] : ProfilesOf(release)) defined[type] = profile.canonical;
    EXPECT_EQ(named, defined) << FhirVersion(release);
  }
  EXPECT_EQ(ProfileOf("Patient"), "");
  EXPECT_EQ(ProfileOf("Bundle"), "");
}

/// The rows of a profile about members of the resource itself: name of the member -> its row.
std::map<std::string, Value> RowsOf(const Profile& profile, const std::string& type) {
  std::map<std::string, Value> rows;
  for (const Value row : *profile.definition.root().Find("differential")->Find("element")) {
    std::string id(row.Find("id")->AsString());
    if (id == type) continue;
    id.erase(0, type.size() + 1);
    if (id.find_first_of(".:") != std::string::npos) continue;
    if (id.ends_with("[x]")) id.replace(id.size() - 3, 3, "DateTime");
    rows.emplace(std::move(id), row);
  }
  return rows;
}

bool IsForbidden(Value row) {
  const auto max = row.Find("max");
  return max && max->AsString() == "0";
}

// A site's patch is read once and then lands on every resource: what it can reach must not be what
// a profile limits, or every resource of the type would be held back. The three members that it
// can reach are looked at when the patch is read.
TEST(Additions, CannotReachWhatAProfileLimits) {
  std::set<std::string> reached;
  for (const FhirRelease release : kReleases) {
    for (const auto& [type, profile] : ProfilesOf(release)) {
      for (const auto& [member, row] : RowsOf(profile, type)) {
        if (!IsForbidden(row) && WhyProtected(member).empty()) reached.insert(type + "." + member);
      }
    }
  }
  for (const char* type : {"Device", "DeviceAssociation", "DeviceUsage", "DeviceUseStatement",
                           "Observation", "Procedure", "Provenance", "Task"}) {
    EXPECT_TRUE(reached.erase(std::string(type) + ".meta")) << type;
  }
  EXPECT_THAT(reached, testing::ElementsAre("Observation.category", "Procedure.category"));
}

TEST(Additions, OfWhatAProfileForbidsAreRefusedWhenRead) {
  for (const FhirRelease release : kReleases) {
    const auto bundled = schemas::Bundled::Load(release);
    ASSERT_TRUE(bundled.has_value());
    std::size_t forbidden = 0;
    for (const auto& [type, profile] : ProfilesOf(release)) {
      for (const auto& [member, row] : RowsOf(profile, type)) {
        if (!IsForbidden(row)) continue;
        ++forbidden;
        const std::string patch = R"({")" + type + R"(":{")" + member + R"(":"x"}})";
        const auto read = Additions::Read(patch, *bundled, release);
        ASSERT_FALSE(read.has_value()) << patch;
        EXPECT_THAT(read.error()[0].rule, testing::AnyOf("protected", "additionalProperties"))
            << patch;
      }
    }
    EXPECT_GT(forbidden, 30U) << FhirVersion(release);
  }
}

}  // namespace
}  // namespace dwell::fhir
