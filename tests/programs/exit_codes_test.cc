// How the programs end and what they say, by exit code: sysexits(3), and 1 when
// some of the events submitted were refused.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <signal.h>

#include "tests/endpoint/keys.h"
#include "tests/programs/installation.h"
#include "tests/support/ward_events.h"

namespace dwell::test {
namespace {

using testing::HasSubstr;

TEST(Programs, HelpAndVersionEndWithZero) {
  for (const std::string& program : {DwelldPath(), DwellPath()}) {
    const Ended help = RunToEnd({program, "--help"});
    EXPECT_EQ(help.code, 0) << program;
    EXPECT_THAT(help.output, HasSubstr("--config")) << program;
    const Ended version = RunToEnd({program, "--version"});
    EXPECT_EQ(version.code, 0) << program;
    EXPECT_THAT(version.output, testing::MatchesRegex("[0-9]+\\.[0-9]+\\.[0-9]+\n")) << program;
  }
  for (const char* verb : {"check", "submit", "queue", "show", "lines", "status"}) {
    const Ended help = RunToEnd({DwellPath(), verb, "--help"});
    EXPECT_EQ(help.code, 0) << verb;
    EXPECT_THAT(help.output, HasSubstr(verb));
  }
}

TEST(Programs, WhatCannotBeReadOnTheCommandLineIsAUsageError) {
  for (const std::vector<std::string>& arguments :
       std::vector<std::vector<std::string>>{{DwelldPath()},
                                             {DwelldPath(), "--config"},
                                             {DwelldPath(), "--config", "a", "--dance"},
                                             {DwellPath()},
                                             {DwellPath(), "dance"},
                                             {DwellPath(), "show"},
                                             {DwellPath(), "submit"},
                                             {DwellPath(), "queue", "--dance"}}) {
    EXPECT_EQ(RunToEnd(arguments).code, 64) << testing::PrintToString(arguments);
  }
}

TEST(Programs, AConfigurationThatIsMissingOrWrongIsToldWithFileAndPlace) {
  const Installation site;
  const Ended missing = RunToEnd({DwelldPath(), "--config", site.folder / "none.toml"});
  EXPECT_EQ(missing.code, 78);
  EXPECT_THAT(missing.output, HasSubstr(site.folder / "none.toml"));

  std::string broken = ReadBytes(site.config);
  broken.replace(broken.find("port = 0"), 8, "port = 99999");
  WriteBytes(site.config, broken);
  for (const Ended& ended :
       {RunToEnd({DwelldPath(), "--config", site.config}), site.Dwell({"check"})}) {
    EXPECT_EQ(ended.code, 78);
    EXPECT_THAT(ended.output, HasSubstr(site.config));
    EXPECT_THAT(ended.output, HasSubstr("/intake/port"));
  }
  WriteBytes(site.config, "[site\nzone = 1\n");
  const Ended syntax = site.Dwell({"check"});
  EXPECT_EQ(syntax.code, 78);
  EXPECT_THAT(syntax.output, HasSubstr(site.config + ":1:"));
  EXPECT_THAT(syntax.output, HasSubstr("1 finding\n"));
  EXPECT_EQ(RunToEnd({DwelldPath(), "--config", site.config}, {"DWELLD_DANCE=1"}).code, 78);
}

TEST(Programs, APolicyThatIsWrongIsToldWithFileAndPlace) {
  const Installation site;
  const std::string policy = site.folder / "policy.toml";
  std::string broken = ReadBytes(policy);
  broken.replace(broken.find("dwell_max_h = 72"), 16, "dwell_max_h = -1");
  WriteBytes(policy, broken);
  for (const Ended& ended :
       {site.Dwell({"check"}), RunToEnd({DwelldPath(), "--config", site.config})}) {
    EXPECT_EQ(ended.code, 78);
    EXPECT_THAT(ended.output, HasSubstr(policy));
    EXPECT_THAT(ended.output, HasSubstr("/kinds/peripheral-cannula/dwell_max_h"));
  }
}

TEST(Programs, CheckPrintsAGoodConfigurationAsItIsInEffect) {
  const Installation site;
  const Ended good = site.Dwell({"check"});
  EXPECT_EQ(good.code, 0);
  EXPECT_THAT(good.output, HasSubstr("all right"));
  EXPECT_THAT(good.output, HasSubstr("in_flight_max = 16"));
}

TEST(Programs, CheckReadsTheSigningKeyAndSaysWhatIsWrongWithIt) {
  const Installation site;
  const std::string key = site.folder / "signing.key";
  std::string text = ReadBytes(site.config);
  text.replace(text.find("[endpoint]\n"), 11,
               "[endpoint]\ntoken_url = \"https://record.example/token\"\nclient_id = \"dwelld\"\n"
               "key_file = \"signing.key\"\nkey_id = \"1\"\nscope = \"system/*.cruds\"\n");
  WriteBytes(site.config, text);
  practice::WriteNewKey(practice::KeyKind::kP384, key);
  const Ended good = site.Dwell({"check"});
  EXPECT_EQ(good.code, 0) << good.output;
  EXPECT_THAT(good.output, HasSubstr("key_id = \"1\""));
  EXPECT_THAT(good.output, testing::Not(HasSubstr("PRIVATE")));
  practice::WriteNewKey(practice::KeyKind::kP256, key);
  for (const Ended& ended :
       {site.Dwell({"check"}), RunToEnd({DwelldPath(), "--config", site.config})}) {
    EXPECT_EQ(ended.code, 78);
    EXPECT_THAT(ended.output, HasSubstr(key));
    EXPECT_THAT(ended.output, HasSubstr("P-384"));
  }
}

TEST(Programs, WithoutADaemonTheCommandSaysThatNobodyIsThere) {
  const Installation site;
  for (const char* verb : {"queue", "lines", "status"}) {
    const Ended ended = site.Dwell({verb});
    EXPECT_EQ(ended.code, 69) << verb;
    EXPECT_THAT(ended.output, HasSubstr("store.db.socket")) << verb;
  }
}

TEST(Programs, AFileThatIsNoStoreOfOursIsLeftUntouched) {
  const Installation site;
  for (const std::string& content : {std::string("somebody's notes"), std::string(9000, 'x')}) {
    WriteBytes(site.folder / "store.db", content);
    const Ended ended = RunToEnd({DwelldPath(), "--config", site.config});
    EXPECT_EQ(ended.code, 65);
    EXPECT_EQ(ReadBytes(site.folder / "store.db"), content);
  }
}

TEST(Programs, ASecondDaemonOnTheSameStoreIsRefusedAndTheFirstGoesOn) {
  Installation site;
  const auto first = site.Start();
  const Ended second = RunToEnd({DwelldPath(), "--config", site.config});
  EXPECT_EQ(second.code, 73) << second.output;
  WriteBytes(site.folder / "event.json", Raw(Insertion("a", 0)));
  const Ended submitted = site.Dwell({"submit", site.folder / "event.json"});
  EXPECT_EQ(submitted.code, 0) << submitted.output;
  EXPECT_EQ(site.Dwell({"status"}).code, 0);
  first->Signal(SIGTERM);
  EXPECT_EQ(first->Wait(), 0);
}

TEST(Programs, TheCommandSubmitsAndListsAndSaysWhatWasRefused) {
  Installation site;
  const auto daemon = site.Start();
  WriteBytes(site.folder / "events.ndjson",
             Raw(Insertion("a", 0)) + "\n{\"kind\":\"dance\"}\n" + Raw(SiteCheck("b", 1)) + "\n");
  const Ended submitted = site.Dwell({"submit", "--json", site.folder / "events.ndjson"});
  EXPECT_EQ(submitted.code, 1) << submitted.output;
  EXPECT_THAT(submitted.output, HasSubstr("{\"line\":1,\"status\":201,"));
  EXPECT_THAT(submitted.output, HasSubstr("{\"line\":2,\"status\":422,"));
  EXPECT_THAT(submitted.output, HasSubstr("{\"line\":3,\"status\":201,"));
  const Ended shown = site.Dwell({"show", "b", "--json"});
  EXPECT_EQ(shown.code, 0);
  EXPECT_THAT(shown.output, HasSubstr("\"kind\":\"site-check\""));
  const Ended lines = site.Dwell({"lines", "--json"});
  EXPECT_EQ(lines.code, 0);
  EXPECT_THAT(lines.output, HasSubstr("\"line_id\":\"line-1\""));
  EXPECT_EQ(site.Dwell({"show", "nothing"}).code, 65);
}

}  // namespace
}  // namespace dwell::test
