#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <sstream>

#include "daemon/command/command.h"
#include "daemon/command/explain_text.h"
#include "daemon/config/toml.h"
#include "schemas/json/document.h"
#include "tests/support/temp_folder.h"

namespace dwell::command {
namespace {

using explain::Becomes;
using explain::Row;
using testing::HasSubstr;
using testing::Not;

const std::string kOurs(codes::kOurSystem);

const std::vector<Row> kRows = {
    {.field = "/extra", .why = "never mapped"},
    {.field = "/note", .type = "Procedure", .role = "flush", .element = "note.text"},
    {.field = "/note", .type = "Observation", .role = "record", .element = "note.text"},
    {.field = "/swelling",
     .type = "Observation",
     .role = "record",
     .element = "component[swelling].valueCodeableConcept",
     .about = {{"http://snomed.info/sct", "65124004", "Swelling"}},
     .values = {{"present", {{"http://snomed.info/sct", "52101004", "Present"}}, "present"},
                {"odd", {{kOurs, "odd", "odd one"}}, "odd one"}},
     .narrative = true},
    {.field = "/swelling", .type = "Task", .role = "remove-now"}};

TEST(Explain, IsForAPersonAPageOfFieldsWithTheirPlaces) {
  EXPECT_EQ(ExplainedAsText(kRows),
            R"(* the narrative tells it too. The event itself is kept whole.
/extra
  never mapped
/note
  Procedure flush,
  Observation record                note.text
/swelling
  Observation record                component[swelling].valueCodeableConcept *
      recorded as sct 65124004 Swelling
      present                   sct 52101004 Present
      odd                       our code and text only: "odd one"
  Task remove-now                   whether there is one
)");
}

TEST(Explain, IsForAProgramALineEachWithWhatThereIs) {
  EXPECT_EQ(ExplainedAsJson({kRows[0], kRows[3], kRows[4]}),
            R"({"field":"/extra","why":"never mapped"}
{"field":"/swelling","resource":"Observation","role":"record","element":"component[swelling].valueCodeableConcept","code":[{"system":"http://snomed.info/sct","code":"65124004","display":"Swelling"}],"values":[{"value":"present","text":"present","coding":[{"system":"http://snomed.info/sct","code":"52101004","display":"Present"}]},{"value":"odd","text":"odd one","coding":[{"system":")" +
                kOurs + R"(","code":"odd","display":"odd one"}],"own_only":true}],"narrative":true}
{"field":"/swelling","resource":"Task","role":"remove-now","narrative":false}
)");
}

/// What the command prints, and its exit code.
struct Ran {
  int exit_code;
  std::string out, err;
};

Ran RunIt(const std::vector<std::string>& arguments) {
  testing::internal::CaptureStdout();
  testing::internal::CaptureStderr();
  const int exit_code = RunCommand(arguments);
  return {exit_code, testing::internal::GetCapturedStdout(),
          testing::internal::GetCapturedStderr()};
}

/// Shipped; anybody can run it.
const std::string kConfig = std::string(DWELL_SOURCE_DIR) + "/deploy/config/first-event.toml";

TEST(Explain, NeedsNoDaemonAndPrintsEachKindWithinThePage) {
  for (const std::string_view kind : explain::Kinds()) {
    const Ran ran = RunIt({"explain", std::string(kind), "--config", kConfig});
    EXPECT_EQ(ran.exit_code, 0) << ran.err;
    EXPECT_THAT(ran.out, HasSubstr("\n/patient/value\n"));
    std::istringstream lines(ran.out);
    for (std::string line; std::getline(lines, line);) EXPECT_LE(line.size(), 100U) << line;
  }
}

TEST(Explain, PrintsWhatTheReadmeShows) {
  const auto readme = config::ReadTextFile(std::string(DWELL_SOURCE_DIR) + "/README.md");
  ASSERT_TRUE(readme.has_value());
  const std::size_t begin = readme->find("```\n/extra\n");
  ASSERT_NE(begin, std::string::npos);
  const std::size_t end = readme->find("```", begin + 3);
  const std::string shown = readme->substr(begin + 4, end - begin - 4);
  EXPECT_THAT(shown, HasSubstr("/flush/fluid"));
  EXPECT_THAT(RunIt({"explain", "flush", "--config", kConfig}).out, HasSubstr(shown));
}

TEST(Explain, PrintsJsonThatReadsBack) {
  const Ran ran = RunIt({"explain", "flush", "--json", "--config", kConfig});
  std::istringstream lines(ran.out);
  std::size_t count = 0;
  for (std::string line; std::getline(lines, line); ++count) {
    const auto row = schemas::Document::Parse(line);
    ASSERT_TRUE(row.has_value()) << line;
    EXPECT_NE(row->root().Find("resource").has_value(), row->root().Find("why").has_value());
  }
  EXPECT_GT(count, 50U);
}

TEST(Explain, GoesByTheConfigurationWithTheSitesMap) {
  const test::TempFolder folder;
  test::WriteBytes(folder / "map.json", R"({"resourceType":"ConceptMap","status":"draft","group":[
    {"source":"https://dwelld.example/fhir/CodeSystem/line-care",
     "target":"https://fernhill.example/fhir/CodeSystem/why","element":[{"code":"dislodged",
      "target":[{"code":"W07","display":"Came out","equivalence":"equal"}]}]}]})");
  test::WriteBytes(folder / "dwelld.toml", R"(
[site]
namespace = "https://fernhill.example/dwelld"
zone = "Europe/London"
[store]
path = "store.db"
[endpoint]
url = "http://localhost:8090/fhir"
fhir_version = "5.0.0"
[policy]
file = "policy.toml"
[codes]
map = "map.json"
)");
  const Ran ran = RunIt({"explain", "removal", "--config", folder / "dwelld.toml"});
  EXPECT_EQ(ran.exit_code, 0) << ran.err;
  EXPECT_THAT(ran.out, testing::ContainsRegex("dislodged +why W07 Came out"));
  EXPECT_THAT(ran.out, HasSubstr("DeviceUsage"));
  EXPECT_THAT(ran.err, HasSubstr("and the site's map, FHIR 5.0.0"));
}

TEST(Explain, AWrongConfigurationIsToldAndNothingIsExplained) {
  const test::TempFolder folder;
  test::WriteBytes(folder / "dwelld.toml", "[site]\nzone = 5\n");
  const Ran ran = RunIt({"explain", "flush", "--config", folder / "dwelld.toml"});
  EXPECT_EQ(ran.exit_code, 78);
  EXPECT_EQ(ran.out, "");
  EXPECT_THAT(ran.err, HasSubstr("/site/zone"));
}

TEST(Explain, AKindThatThereIsNotIsAWrongCommandLine) {
  const Ran ran = RunIt({"explain", "rumour"});
  EXPECT_EQ(ran.exit_code, 64);
  EXPECT_THAT(ran.out, Not(HasSubstr("Procedure")));
}

}  // namespace
}  // namespace dwell::command
