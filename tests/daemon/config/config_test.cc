#include "daemon/config/config.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <set>

#include "daemon/config/code_maps.h"
#include "daemon/config/policy_file.h"
#include "tests/support/temp_folder.h"

namespace dwell::config {
namespace {

const std::string kGood = R"(
[site]
namespace = "https://fernhill.example/dwelld"
zone = "Europe/London"
[store]
path = "store.db"
[endpoint]
url = "http://localhost:8090/fhir"
[policy]
file = "policy.toml"
)";

std::string FindingsOf(const std::string& text, const Environment& environment = {}) {
  const auto config = ReadConfig("/etc/a/dwelld.toml", text, environment);
  if (config) return "";
  std::string all;
  for (const Finding& finding : config.error()) all += FormatFinding(finding) + "\n";
  return all;
}

TEST(Config, DefaultsAreFilledInAndPathsStartAtTheFilesFolder) {
  const auto config = ReadConfig("/etc/a/dwelld.toml", kGood, {});
  ASSERT_TRUE(config.has_value());
  EXPECT_EQ(config->store.path, "/etc/a/store.db");
  EXPECT_EQ(config->policy.file, "/etc/a/policy.toml");
  EXPECT_EQ(config->admin.socket, "/etc/a/store.db.socket");
  EXPECT_EQ(config->intake.address, "127.0.0.1");
  EXPECT_EQ(config->intake.port, 8080);
  EXPECT_FALSE(config->site.test_data);
  EXPECT_EQ(config->codes.edition, "free");
}

TEST(Config, TheEnvironmentWinsOverTheFile) {
  const auto config = ReadConfig("dwelld.toml", kGood,
                                 {{"DWELLD_INTAKE_PORT", "9000"},
                                  {"DWELLD_SITE_TEST_DATA", "true"},
                                  {"DWELLD_STORE_PATH", "/var/other.db"},
                                  {"DWELLD_ENDPOINT_ATTEMPT_TIME_MAX_S", "5"}});
  ASSERT_TRUE(config.has_value());
  EXPECT_EQ(config->intake.port, 9000);
  EXPECT_TRUE(config->site.test_data);
  EXPECT_EQ(config->store.path, "/var/other.db");
  EXPECT_EQ(config->endpoint.attempt_time_max_s, 5);
}

TEST(Config, WhatIsPrintedReadsBackAsTheSame) {
  const auto config = ReadConfig("/etc/a/dwelld.toml", kGood, {});
  ASSERT_TRUE(config.has_value());
  const std::string printed = PrintConfig(*config);
  const auto again = ReadConfig("/elsewhere/dwelld.toml", printed, {});
  ASSERT_TRUE(again.has_value());
  EXPECT_EQ(PrintConfig(*again), printed);
}

TEST(Config, EveryMistakeIsToldWithFileLineAndPlace) {
  const struct {
    std::string text;
    std::string expected;
  } cases[] = {
      {kGood + "colour = 1\n", "dwelld.toml:11: /policy/colour: "},
      {kGood + "[weather]\nwind = 1\n", "dwelld.toml:11: /weather: "},
      {kGood + "[intake]\nport = 70000\n", "dwelld.toml:12: /intake/port: "},
      {kGood + "[intake]\nport = \"8080\"\n", "dwelld.toml:12: /intake/port: "},
      {kGood + "[intake]\nport = 80.5\n", "dwelld.toml:12: /intake/port: "},
      {kGood + "[codes]\nedition = \"secret\"\n", "dwelld.toml:12: /codes/edition: "},
      {kGood + "[intake]\ncertificate = \"a.crt\"\n", "dwelld.toml:11: /intake: "},
      {kGood + "[site]\nzone = \"UTC\"\n", "dwelld.toml:11: TOML: "},
      {kGood + "[intake\n", "dwelld.toml:11: TOML: "},
      {"[site]\nzone = \"UTC\"\n", "/store: "},
  };
  for (const auto& row : cases) {
    EXPECT_THAT(FindingsOf(row.text), testing::HasSubstr(row.expected)) << row.text;
  }
}

TEST(Config, TokensOfATokenEndpointAreAskedForWithAllFiveKeysOrNone) {
  const Environment all = {{"DWELLD_ENDPOINT_TOKEN_URL", "https://record.example/auth/token"},
                           {"DWELLD_ENDPOINT_CLIENT_ID", "dwelld"},
                           {"DWELLD_ENDPOINT_KEY_FILE", "signing.key"},
                           {"DWELLD_ENDPOINT_KEY_ID", "2026-1"},
                           {"DWELLD_ENDPOINT_SCOPE", "system/*.cruds"}};
  const auto config = ReadConfig("/etc/a/dwelld.toml", kGood, all);
  ASSERT_TRUE(config.has_value());
  EXPECT_EQ(config->endpoint.key_file, "/etc/a/signing.key");
  EXPECT_THAT(PrintConfig(*config), testing::HasSubstr("scope = \"system/*.cruds\""));
  for (std::size_t left_out = 0; left_out < all.size(); ++left_out) {
    Environment some = all;
    some.erase(some.begin() + static_cast<std::ptrdiff_t>(left_out));
    EXPECT_THAT(FindingsOf(kGood, some), testing::HasSubstr("/endpoint: token_url, client_id"))
        << all[left_out].first;
    EXPECT_THAT(FindingsOf(kGood, {all[left_out]}),
                testing::HasSubstr("/endpoint: token_url, client_id"));
  }
  Environment two_ways = all;
  two_ways.emplace_back("DWELLD_ENDPOINT_BEARER_FILE", "token");
  EXPECT_THAT(FindingsOf(kGood, two_ways), testing::HasSubstr("/endpoint/bearer_file: either"));
}

TEST(Config, TokensTravelEncryptedOrInsideThisMachine) {
  const auto findings = [](const char* url) {
    return FindingsOf(kGood, {{"DWELLD_ENDPOINT_TOKEN_URL", url},
                              {"DWELLD_ENDPOINT_CLIENT_ID", "dwelld"},
                              {"DWELLD_ENDPOINT_KEY_FILE", "signing.key"},
                              {"DWELLD_ENDPOINT_KEY_ID", "2026-1"},
                              {"DWELLD_ENDPOINT_SCOPE", "system/*.cruds"}});
  };
  for (const char* const url : {"https://a/token", "http://localhost:8090/token",
                                "http://127.0.0.1/token", "http://[::1]:1/token"}) {
    EXPECT_EQ(findings(url), "") << url;
  }
  for (const char* const url :
       {"http://a.example/token", "http://localhost.example/token", "http://127.0.0.1.example/",
        "http://[::1].example/token", "https://u@a/token", "ftp://a.example/token"}) {
    EXPECT_THAT(findings(url), testing::HasSubstr("/endpoint/token_url: https://")) << url;
  }
}

TEST(Config, UrlsOfEndpointsAreHttpWithoutUserQueryOrFragment) {
  for (const char* const url : {"ftp://a/fhir", "http:///fhir", "http://u:p@a/fhir",
                                "http://a/fhir?x=1", "https://a/#b", "localhost:8090"}) {
    EXPECT_THAT(FindingsOf(kGood, {{"DWELLD_ENDPOINT_URL", url}}),
                testing::HasSubstr("/endpoint/url: "))
        << url;
  }
}

TEST(Config, PatientsAndEncountersAreReferredToInOneOfThreeWays) {
  for (const char* const way : {"identifier", "conditional", "resolved"}) {
    const std::string text = kGood + "[references]\npatient = \"" + way + "\"\nencounter = \"" +
                             way + "\"\ncached_for_h = 0\n";
    const auto config = ReadConfig("dwelld.toml", text, {});
    ASSERT_TRUE(config.has_value()) << way;
    EXPECT_EQ(config->references.patient, way);
    EXPECT_EQ(config->references.encounter, way);
    EXPECT_EQ(config->references.cached_for_h, 0);
  }
  EXPECT_EQ(ReadConfig("dwelld.toml", kGood, {})->references.cached_for_h, 1);
  EXPECT_THAT(FindingsOf(kGood + "[references]\npatient = \"guessed\"\n"),
              testing::HasSubstr("/references/patient: "));
  for (const char* const hours : {"-1", "169", "1.5"}) {
    EXPECT_THAT(FindingsOf(kGood + "[references]\ncached_for_h = " + hours + "\n"),
                testing::HasSubstr("/references/cached_for_h: "))
        << hours;
  }
}

TEST(Config, HealthAndMetricsAreAtAnAddressAndAPortOrNowhere) {
  const auto listen = [](const std::string& text) {
    return ReadConfig("a.toml", kGood + "[operate]\nlisten = \"" + text + "\"\n", {});
  };
  EXPECT_EQ(listen("")->operate.listen, "");
  for (const char* good : {"127.0.0.1:8081", "0.0.0.0:0", "[::1]:65535"}) {
    EXPECT_TRUE(listen(good).has_value()) << good;
  }
  EXPECT_EQ(ReadListen("[::1]:8081")->address, "::1");
  EXPECT_EQ(ReadListen("127.0.0.1:8081")->port, 8081);
  for (const char* bad : {"8081", "localhost:8081", "127.0.0.1", "127.0.0.1:", "127.0.0.1:65536",
                          "::1:80", "127.0.0.1:80x", "[127.0.0.1]:80", "127.0.0.1:-1"}) {
    const auto config = listen(bad);
    ASSERT_FALSE(config.has_value()) << bad;
    EXPECT_THAT(FormatFinding(config.error().front()), testing::HasSubstr("/operate/listen"))
        << bad;
  }
}

TEST(Config, HowToWriteIsFoundOutUnlessItIsSaid) {
  const auto usual = ReadConfig("dwelld.toml", kGood, {});
  EXPECT_EQ(usual->endpoint.writes, "auto");
  EXPECT_EQ(usual->endpoint.identity, "auto");
  EXPECT_EQ(usual->endpoint.share_max, 1);
  const auto said = ReadConfig("dwelld.toml", kGood,
                               {{"DWELLD_ENDPOINT_WRITES", "batch"},
                                {"DWELLD_ENDPOINT_IDENTITY", "conditional-update"},
                                {"DWELLD_ENDPOINT_SHARE_MAX", "100"}});
  ASSERT_TRUE(said.has_value());
  EXPECT_EQ(said->endpoint.writes, "batch");
  EXPECT_EQ(said->endpoint.identity, "conditional-update");
  EXPECT_EQ(said->endpoint.share_max, 100);
  const std::vector<std::pair<const char*, const char*>> wrong = {
      {"DWELLD_ENDPOINT_WRITES", "batches"}, {"DWELLD_ENDPOINT_IDENTITY", "update"},
      {"DWELLD_ENDPOINT_IDENTITY", ""},      {"DWELLD_ENDPOINT_SHARE_MAX", "0"},
      {"DWELLD_ENDPOINT_SHARE_MAX", "101"},
  };
  for (const auto& [name, value] : wrong) {
    EXPECT_TRUE(ReadConfig("dwelld.toml", kGood, {{name, value}}).has_error()) << name << value;
  }
}

TEST(Config, WhatIsPastIsKeptForAMonthOrAYearOrAsManyDaysAsAreSaid) {
  struct Row {
    const char* variable;
    std::int64_t Config::Store::*days;
    int unsaid;
  };
  for (const Row& row :
       {Row{"DWELLD_STORE_KEEP_DELIVERED_DAYS", &Config::Store::keep_delivered_days, 30},
        Row{"DWELLD_STORE_KEEP_CLOSED_LINES_DAYS", &Config::Store::keep_closed_lines_days, 365}}) {
    EXPECT_EQ(ReadConfig("dwelld.toml", kGood, {})->store.*row.days, row.unsaid);
    for (const int kept : {0, 1, 36500}) {
      const Environment days{{row.variable, std::to_string(kept)}};
      const auto config = ReadConfig("dwelld.toml", kGood, days);
      ASSERT_TRUE(config.has_value()) << row.variable << kept;
      EXPECT_EQ(config->store.*row.days, kept);
    }
    for (const char* const wrong : {"-1", "36501", "1.5"}) {
      EXPECT_TRUE(ReadConfig("dwelld.toml", kGood, {{row.variable, wrong}}).has_error()) << wrong;
    }
  }
}

TEST(Config, AVariableThatNamesNoKeyIsAMistake) {
  EXPECT_THAT(FindingsOf(kGood, {{"DWELLD_INTAKE_PROT", "1"}}),
              testing::HasSubstr("DWELLD_INTAKE_PROT"));
  EXPECT_THAT(FindingsOf(kGood, {{"DWELLD_INTAKE_PORT", "many"}}),
              testing::HasSubstr("/intake/port: "));
}

TEST(Config, AFileThatIsNotThereIsNamed) {
  const auto config = LoadConfig("/nowhere/dwelld.toml", {});
  ASSERT_FALSE(config.has_value());
  EXPECT_THAT(FormatFinding(config.error()[0]), testing::HasSubstr("/nowhere/dwelld.toml"));
}

TEST(Config, TheShippedExamplesAreRight) {
  for (const char* const name : {"dwelld.toml", "first-event.toml"}) {
    const auto config = LoadConfig(std::string(DWELL_SOURCE_DIR "/deploy/config/") + name, {});
    ASSERT_TRUE(config.has_value()) << FormatFinding(config.error()[0]);
    EXPECT_TRUE(LoadPolicy(config->policy.file).has_value()) << name;
  }
}

TEST(CodeMaps, TheSitesMapIsFoundBesideTheConfigurationAndLaidOverOurs) {
  const std::string map = "[codes]\nmap = \"site-codes.conceptmap.json\"\n";
  const auto config = ReadConfig(DWELL_SOURCE_DIR "/deploy/config/dwelld.toml", kGood + map, {});
  ASSERT_TRUE(config.has_value()) << FormatFinding(config.error()[0]);
  const auto codes = LoadCodeMaps(*config);
  ASSERT_TRUE(codes.has_value()) << codes.error().message();
  EXPECT_EQ(codes->Find("reason", "time-expired")->codings[0].code, "R02");
  EXPECT_EQ(codes->Find("reason", "bent-in-splint")->text, "bent in the splint");
}

TEST(CodeMaps, AMapThatIsNotThereOrWrongIsNamed) {
  const test::TempFolder folder;
  test::WriteBytes(folder / "wrong.json", R"({"resourceType":"ConceptMap"})");
  for (const std::string& file : {folder / "nowhere.json", folder / "wrong.json"}) {
    Config config;
    config.codes.map = file;
    const auto codes = LoadCodeMaps(config);
    ASSERT_FALSE(codes.has_value());
    EXPECT_THAT(codes.error().message(), testing::HasSubstr(file));
  }
}

TEST(Policy, EachShippedOneIsRightAndHasANameOfItsOwn) {
  std::set<std::string> names;
  std::size_t count = 0;
  for (const auto& file : std::filesystem::directory_iterator(DWELL_SOURCE_DIR "/deploy/config")) {
    if (!file.path().filename().string().starts_with("policy-")) continue;
    const auto policy = LoadPolicy(file.path());
    ASSERT_TRUE(policy.has_value()) << FormatFinding(policy.error()[0]);
    names.insert(policy->name);
    ++count;
    for (const char* kind : {"peripheral-cannula", "midline", "picc", "cvc", "arterial-line"}) {
      EXPECT_NE(policy->Find("any", kind), nullptr) << file.path() << " " << kind;
    }
  }
  EXPECT_EQ(count, 3U);
  EXPECT_EQ(names.size(), count);
}

TEST(Policy, MistakesInItsFileAreToldWithLineAndPlace) {
  const test::TempFolder folder;
  test::WriteBytes(folder / "policy.toml", "name = 5\n");
  const auto policy = LoadPolicy(folder / "policy.toml");
  ASSERT_FALSE(policy.has_value());
  std::string all;
  for (const Finding& finding : policy.error()) all += FormatFinding(finding) + "\n";
  EXPECT_THAT(all, testing::HasSubstr("policy.toml:1: /name: "));
}

const std::string kTwo = kGood + R"(
[endpoints.research]
url = "https://research.example/fhir"
bearer_file = "research.token"
types = ["Observation", "Device"]
[endpoints.board]
url = "http://localhost:8091/fhir"
)";

TEST(Config, FurtherEndpointsHaveTheKeysOfTheMainOneAndItsRelease) {
  const auto config = ReadConfig("/etc/a/dwelld.toml", kTwo, {});
  ASSERT_TRUE(config.has_value());
  const auto all = AllEndpoints(*config);
  ASSERT_EQ(all.size(), 3u);
  EXPECT_EQ(all[0].name, "main");
  EXPECT_EQ(all[1].name, "board");
  EXPECT_EQ(all[1].in_flight_max, 16);
  EXPECT_TRUE(all[1].types.empty());
  EXPECT_EQ(all[2].name, "research");
  EXPECT_EQ(all[2].bearer_file, "/etc/a/research.token");
  EXPECT_EQ(all[2].fhir_version, "4.0.1");
  EXPECT_THAT(all[2].types, testing::ElementsAre("Observation", "Device"));
  const std::string printed = PrintConfig(*config);
  EXPECT_THAT(printed, testing::HasSubstr("\n[endpoints.research]\nurl = \"https://research"));
  const auto again = ReadConfig("/etc/a/dwelld.toml", printed, {});
  ASSERT_TRUE(again.has_value()) << printed;
  EXPECT_EQ(PrintConfig(*again), printed);
}

TEST(Config, WhatIsWrongWithAnEndpointIsSaidOfThatOne) {
  const auto findings = [](const std::string& more) { return FindingsOf(kTwo + more); };
  EXPECT_EQ(findings(""), "");
  EXPECT_THAT(findings("in_flight = 3\n"), testing::HasSubstr("/endpoints/board/in_flight"));
  EXPECT_THAT(findings("types = [\"Patient\"]\n"),
              testing::HasSubstr("/endpoints/board/types/0: a type that is sent: Device, "));
  EXPECT_THAT(findings("types = [\"Provenance\"]\n"),
              testing::HasSubstr("a type besides Provenance"));
  EXPECT_THAT(findings("fhir_version = \"5.0.0\"\n"), testing::HasSubstr("the same for all"));
  EXPECT_THAT(findings("certificate = \"a.crt\"\n"),
              testing::HasSubstr("/endpoints/board: certificate and private_key"));
  EXPECT_THAT(findings("client_id = \"x\"\n"), testing::HasSubstr("/endpoints/board: token_url"));
  EXPECT_THAT(findings("[endpoints.main]\nurl = \"http://a.example/fhir\"\n"),
              testing::HasSubstr("/endpoints/main: a name"));
  EXPECT_THAT(findings("[endpoints.\"a b\"]\nurl = \"http://a.example/fhir\"\n"),
              testing::HasSubstr("small letters, digits and hyphens"));
  EXPECT_THAT(findings("[endpoints.b]\nurl = \"http://localhost:8090/fhir\"\n"),
              testing::HasSubstr("/endpoints/b/url: no URL that another endpoint has"));
  EXPECT_THAT(findings("[endpoints.c]\ntypes = []\n"), testing::HasSubstr("/endpoints/c"));
}

}  // namespace
}  // namespace dwell::config
