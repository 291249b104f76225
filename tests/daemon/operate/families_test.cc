#include "daemon/operate/families.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <regex>
#include <set>

#include "daemon/base/limits.h"
#include "daemon/operate/health.h"

namespace dwell::test {
namespace {

using operate::Answer;
using operate::Exposition;
using operate::Facts;
using operate::Question;
using operate::Worker;
using testing::HasSubstr;
using testing::Not;

Facts SomeFacts() {
  Facts facts;
  facts.version = "0.1.0";
  facts.fhir_version = "4.0.1";
  facts.now = ReadMoment("2026-04-01T10:00:00Z")->instant;
  facts.started_at = ReadMoment("2026-04-01T09:00:00Z")->instant;
  facts.steady = operate::SteadyTime(std::chrono::seconds(1000));
  facts.free_bytes = 2 * limits::kStoreFreeBytesMin;
  facts.events = {11, 12, 13, 14, 15, 16, 17, 18};
  facts.caught_up_to = facts.now;
  facts.reloaded = false;
  facts.clock_steps = 2;
  facts.wall_ahead = std::chrono::hours(-1);
  delivery::Progress progress;
  progress.completed = 21;
  progress.refused = 22;
  progress.again = 9;
  progress.paused = 4;
  progress.unknown = 3;
  facts.endpoints = {{"main", progress}, {"research", {}}};
  facts.endpoints[1].progress.paused_until = facts.steady + std::chrono::seconds(1);
  facts.workers = {{Worker::kNet, "", false}, {Worker::kDelivery, "main", false}};
  operate::StoreFacts store;
  store.counts.events = 31;
  store.counts.lines = 32;
  store.counts.oldest_waiting = facts.now - std::chrono::milliseconds(90'500);
  store::EndpointRecord main;
  main.name = "main";
  main.ready = 41;
  main.in_progress = 42;
  main.completed = 43;
  main.on_hold = 44;
  main.cancelled = 45;
  store.endpoints = {main};
  store.pages = {.all = 100, .free = 3};
  store.log_pages = 5;
  store.sources = {
      {"ward-tablets", ReadMoment("2026-04-01T09:59:00.250Z")->instant, std::chrono::minutes(5)},
      {"theatre", ReadMoment("2026-04-01T08:00:00Z")->instant, std::chrono::minutes(59)},
      {"new", ReadMoment("2026-04-01T01:00:00Z")->instant, std::nullopt}};
  facts.store = store;
  return facts;
}

std::string TextOf(const Facts& facts) {
  return operate::Expose(operate::FamiliesOf(facts), Exposition::kOpenMetrics);
}

TEST(Families, EachFactIsToldWhereItBelongs) {
  const std::string text = TextOf(SomeFacts());
  for (const char* line : {
           "dwelld_build_info{version=\"0.1.0\",fhir_version=\"4.0.1\"} 1",
           "dwelld_start_timestamp_seconds 1775034000.000",
           "dwelld_ready 1",
           "dwelld_thread_stuck{thread=\"net\"} 0",
           "dwelld_thread_stuck{thread=\"delivery\",endpoint=\"main\"} 0",
           "dwelld_store_answers 1",
           "dwelld_events_accepted_total{answer=\"stored\"} 11",
           "dwelld_events_accepted_total{answer=\"repeated\"} 12",
           "dwelld_events_refused_total{reason=\"not-json\"} 13",
           "dwelld_events_refused_total{reason=\"too-large\"} 14",
           "dwelld_events_refused_total{reason=\"contract\"} 15",
           "dwelld_events_refused_total{reason=\"contradiction\"} 16",
           "dwelld_events_refused_total{reason=\"conflict\"} 17",
           "dwelld_events_refused_total{reason=\"not-now\"} 18",
           "dwelld_source_last_event_timestamp_seconds{source=\"ward-tablets\"} 1775037540.250",
           "dwelld_source_since_last_event_seconds{source=\"theatre\"} 7200.000",
           "dwelld_source_silent{source=\"ward-tablets\"} 0",
           "dwelld_source_silent{source=\"theatre\"} 1",
           "dwelld_store_events 31",
           "dwelld_store_lines 32",
           "dwelld_bundles{endpoint=\"main\",state=\"ready\"} 41",
           "dwelld_bundles{endpoint=\"main\",state=\"in-progress\"} 42",
           "dwelld_bundles{endpoint=\"main\",state=\"completed\"} 43",
           "dwelld_bundles{endpoint=\"main\",state=\"on-hold\"} 44",
           "dwelld_bundles{endpoint=\"main\",state=\"cancelled\"} 45",
           "dwelld_oldest_waiting_age_seconds 90.500",
           "dwelld_deliveries_total{endpoint=\"main\",outcome=\"completed\"} 21",
           "dwelld_deliveries_total{endpoint=\"main\",outcome=\"on-hold\"} 22",
           "dwelld_deliveries_total{endpoint=\"main\",outcome=\"again\"} 2",
           "dwelld_deliveries_total{endpoint=\"main\",outcome=\"endpoint-down\"} 4",
           "dwelld_deliveries_total{endpoint=\"main\",outcome=\"target-unknown\"} 3",
           "dwelld_endpoint_paused{endpoint=\"main\"} 0",
           "dwelld_endpoint_paused{endpoint=\"research\"} 1",
           "dwelld_last_reload_successful 0",
           "dwelld_clock_steps_total 2",
           "dwelld_wall_clock_ahead_seconds -3600.000",
           "dwelld_dues_told_timestamp_seconds 1775037600.000",
           "dwelld_store_file_bytes 819200",
           "dwelld_store_file_free_bytes 24576",
           "dwelld_store_log_bytes 40960",
           "dwelld_store_disk_free_bytes 134217728",
       }) {
    EXPECT_THAT(text, HasSubstr(std::string(line) + "\n"));
  }
}

TEST(Families, WhetherASourceIsSilentIsMissingWhileNobodyCanSay) {
  Facts facts = SomeFacts();
  EXPECT_THAT(TextOf(facts), Not(HasSubstr("silent{source=\"new\"}")));
  facts.silent_after = std::chrono::minutes(180);
  EXPECT_THAT(TextOf(facts), HasSubstr("silent{source=\"new\"} 1\n"));
  EXPECT_THAT(TextOf(facts), HasSubstr("silent{source=\"theatre\"} 0\n"));
}

TEST(Families, WithoutTheStoresAnswerItsFamiliesAreMissingAndTheOthersAreThere) {
  Facts facts = SomeFacts();
  facts.store.reset();
  const std::string text = TextOf(facts);
  EXPECT_THAT(text, HasSubstr("dwelld_store_answers 0\n"));
  EXPECT_THAT(text, Not(HasSubstr("dwelld_bundles")));
  EXPECT_THAT(text, Not(HasSubstr("dwelld_oldest_waiting")));
  EXPECT_THAT(text, Not(HasSubstr("dwelld_source_last_event")));
  EXPECT_THAT(text, HasSubstr("dwelld_thread_stuck"));
}

// OpenMetrics 1.0.0, "Metric naming and units"; Prometheus documentation, "Metric and label
// naming".
TEST(Families, NamesAreUniqueInTheirOwnSpaceAndEndWithTheirBaseUnit) {
  const std::regex pattern("dwelld_[a-z]+(_[a-z]+)*");
  std::set<std::string_view> names;
  for (const auto& family : operate::FamiliesOf(SomeFacts())) {
    EXPECT_TRUE(std::regex_match(std::string(family.name), pattern)) << family.name;
    EXPECT_TRUE(names.insert(family.name).second) << family.name;
    EXPECT_FALSE(family.name.ends_with("_total") || family.name.ends_with("_info")) << family.name;
    EXPECT_TRUE(family.help.ends_with('.')) << family.name;
    EXPECT_TRUE(family.unit.empty() || family.unit == "seconds" || family.unit == "bytes");
    const bool sounds_like_unit =
        family.name.ends_with("seconds") || family.name.ends_with("bytes");
    EXPECT_EQ(sounds_like_unit, !family.unit.empty()) << family.name;
  }
}

struct HealthRow {
  const char* what;
  std::function<void(Facts&)> change;
  bool is_live, is_ready;
};

TEST(Health, OnlyStuckThreadsEndLifeAndWhatKeepsEventsOutEndsReadiness) {
  const HealthRow kRows[] = {
      {"all is well", [](Facts&) {}, true, true},
      {"a thread is stuck", [](Facts& f) { f.workers[1].is_stuck = true; }, false, false},
      {"draining", [](Facts& f) { f.draining = true; }, true, false},
      {"the store stopped", [](Facts& f) { f.store_stopped = true; }, true, false},
      {"room below the floor", [](Facts& f) { f.free_bytes = limits::kStoreFreeBytesMin - 1; },
       true, false},
      {"room at the floor", [](Facts& f) { f.free_bytes = limits::kStoreFreeBytesMin; }, true,
       true},
      {"room not known", [](Facts& f) { f.free_bytes.reset(); }, true, false},
      {"every endpoint is down",
       [](Facts& f) {
         for (auto& endpoint : f.endpoints) {
           endpoint.progress.paused_until = f.steady + std::chrono::hours(1);
           endpoint.progress.last_failure = "no connection";
         }
       },
       true, true},
  };
  for (const HealthRow& row : kRows) {
    Facts facts = SomeFacts();
    row.change(facts);
    EXPECT_EQ(Answer(Question::kLive, facts, false).is_well, row.is_live) << row.what;
    EXPECT_EQ(Answer(Question::kReady, facts, false).is_well, row.is_ready) << row.what;
  }
}

TEST(Health, ThePersonWhoAsksIsToldEachCheck) {
  Facts facts = SomeFacts();
  facts.workers[1].is_stuck = true;
  EXPECT_EQ(Answer(Question::kLive, facts, true).text,
            "ok   thread net: moves\nFAIL thread delivery main: stuck\nnot alive\n");
  EXPECT_EQ(Answer(Question::kLive, facts, false).text, "not alive\n");
  EXPECT_EQ(Answer(Question::kReady, SomeFacts(), true).text,
            "ok   thread net: moves\nok   thread delivery main: moves\nok   taking events: yes\n"
            "ok   store: works\nok   room: 134217728 bytes free, 67108864 must stay free\nready\n");
}

}  // namespace
}  // namespace dwell::test
