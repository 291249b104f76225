// The configuration read again: every key either counts at once or is named.
#include "daemon/config/rereading.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cstdlib>
#include <set>

#include "daemon/config/keys.h"
#include "daemon/config/tz_data.h"
#include "tests/support/temp_folder.h"
#include "tests/support/zone_file.h"

namespace dwell::config {
namespace {

using testing::ElementsAre;
using testing::IsEmpty;

struct Alter {
  void operator()(std::string* value) const { *value += "x"; }
  void operator()(std::int64_t* value) const { *value += 1; }
  void operator()(bool* value) const { *value = !*value; }
  void operator()(Texts* value) const { value->emplace_back("x"); }
};

std::string NameOf(const Key& key) { return std::string(key.section) + "." + key.name; }

// What counts at once is what only the making of dues and resources reads.
TEST(Rereading, EveryKeyThatIsChangedCountsOrIsNamed) {
  const std::set<std::string> at_once = {
      "site.zone", "site.test_data",      "policy.file",        "codes.edition",
      "codes.map", "resources.additions", "resources.profiles", "resources.security"};
  for (const Key& key : AllKeys()) {
    Config fresh;
    std::visit(Alter(), key.field(fresh));
    const Reread reread = ReadAgain(Config(), fresh);
    const bool counts = PrintConfig(reread.config) != PrintConfig(Config());
    EXPECT_EQ(counts, at_once.contains(NameOf(key))) << NameOf(key);
    if (counts) {
      EXPECT_THAT(reread.needs_restart, IsEmpty()) << NameOf(key);
      EXPECT_EQ(PrintConfig(reread.config), PrintConfig(fresh));
    } else {
      EXPECT_THAT(reread.needs_restart, ElementsAre(NameOf(key)));
    }
  }
}

TEST(Rereading, FurtherEndpointsAreNamedWithWhatChangedInThem) {
  Config running;
  Config::Endpoint endpoint;
  endpoint.name = "archive";
  running.endpoints.push_back(endpoint);
  endpoint.name = "research";
  running.endpoints.push_back(endpoint);
  Config fresh = running;
  fresh.endpoints[0].name = "second";
  fresh.endpoints[1].types = {"Device"};
  const Reread reread = ReadAgain(running, fresh);
  EXPECT_THAT(reread.needs_restart,
              ElementsAre("endpoints.archive", "endpoints.second", "endpoints.research.types"));
  EXPECT_EQ(PrintConfig(reread.config), PrintConfig(running));
  EXPECT_THAT(ReadAgain(running, running).needs_restart, IsEmpty());
}

class TzData : public testing::Test {
 protected:
  TzData() { ::setenv("TZDIR", folder_.path().c_str(), 1); }
  ~TzData() override { ::unsetenv("TZDIR"); }

  test::TempFolder folder_;
};

TEST_F(TzData, TheVersionIsReadWhereThePublishersPutIt) {
  EXPECT_EQ(TzDataVersion(), "unknown");
  test::WriteBytes(folder_ / "+VERSION", "2025c\n");
  EXPECT_EQ(TzDataVersion(), "2025c");
  test::WriteBytes(folder_ / "tzdata.zi", "# version 2026f\n# This zic input file\n");
  EXPECT_EQ(TzDataVersion(), "2026f");
  test::WriteBytes(folder_ / "tzdata.zi", "R d 1916 o - Jun 14 23s 1 S\n");
  EXPECT_EQ(TzDataVersion(), "2025c");
}

TEST_F(TzData, AZoneIsAsItsFileNowSaysAndStaysInTheFolder) {
  const Instant noon = ReadMoment("2026-03-02T12:00:00Z")->instant;
  EXPECT_FALSE(LoadZone("Ward").has_value());
  test::WriteBytes(folder_ / "Ward", test::ZoneFile(0, noon, 1));
  EXPECT_EQ(LoadZone("Ward")->Format(noon), "2026-03-02T13:00:00+01:00");
  test::WriteBytes(folder_ / "Ward", test::ZoneFile(0, noon, 2));
  EXPECT_EQ(LoadZone("Ward")->Format(noon), "2026-03-02T14:00:00+02:00");
  test::WriteBytes(folder_ / "localtime", test::ZoneFile(0, noon, 2));
  for (const std::string& name : {std::string(), std::string("localtime"), folder_ / "Ward",
                                  "../" + folder_.path() + "/Ward"}) {
    EXPECT_FALSE(LoadZone(name).has_value()) << name;
  }
}

}  // namespace
}  // namespace dwell::config
