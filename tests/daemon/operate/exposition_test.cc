// The text of metrics. Rules: OpenMetrics 1.0.0 (prometheus/OpenMetrics,
// specification/OpenMetrics.md), sections "ABNF", "Escaping" and "MetricFamily"; the older format:
// Prometheus documentation, "Text-based format", version 0.0.4. tests/daemon/operate/openmetrics
// has an outside parser read what the daemon says.
#include "daemon/operate/exposition.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace dwell::test {
namespace {

using operate::ChooseExposition;
using operate::Expose;
using operate::Exposition;
using operate::Family;
using operate::MetricType;
using testing::HasSubstr;
using testing::Not;

std::vector<Family> SomeFamilies() {
  return {{"a_build", MetricType::kInfo, "", "The program.", {{{{"version", "1"}}, "1"}}},
          {"a_events",
           MetricType::kCounter,
           "",
           "Events.",
           {{{{"reason", "x"}, {"source", "a\"b\\c\nd"}}, "3"}, {{}, "4"}}},
          {"a_age_seconds", MetricType::kGauge, "seconds", "An \"age\".", {{{}, "0.250"}}},
          {"a_unknown", MetricType::kGauge, "", "Nobody knows.", {}}};
}

TEST(Exposition, OpenMetricsNamesTypeUnitAndHelpOfEachFamilyAndEndsWithItsMark) {
  EXPECT_EQ(Expose(SomeFamilies(), Exposition::kOpenMetrics),
            "# TYPE a_build info\n"
            "# HELP a_build The program.\n"
            "a_build_info{version=\"1\"} 1\n"
            "# TYPE a_events counter\n"
            "# HELP a_events Events.\n"
            "a_events_total{reason=\"x\",source=\"a\\\"b\\\\c\\nd\"} 3\n"
            "a_events_total 4\n"
            "# TYPE a_age_seconds gauge\n"
            "# UNIT a_age_seconds seconds\n"
            "# HELP a_age_seconds An \\\"age\\\".\n"
            "a_age_seconds 0.250\n"
            "# EOF\n");
}

TEST(Exposition, TheOlderFormatCallsAFamilyAsItsSamplesAndKnowsNeitherUnitNorEnd) {
  EXPECT_EQ(Expose(SomeFamilies(), Exposition::kOlderText),
            "# TYPE a_build_info gauge\n"
            "# HELP a_build_info The program.\n"
            "a_build_info{version=\"1\"} 1\n"
            "# TYPE a_events_total counter\n"
            "# HELP a_events_total Events.\n"
            "a_events_total{reason=\"x\",source=\"a\\\"b\\\\c\\nd\"} 3\n"
            "a_events_total 4\n"
            "# TYPE a_age_seconds gauge\n"
            "# HELP a_age_seconds An \"age\".\n"
            "a_age_seconds 0.250\n");
}

TEST(Exposition, WhatIsNotKnownIsNotThereInsteadOfZero) {
  EXPECT_THAT(Expose(SomeFamilies(), Exposition::kOpenMetrics), Not(HasSubstr("a_unknown")));
}

TEST(Exposition, TheFormatIsTheOneThatTheSenderPrefers) {
  // Accept fields: what Prometheus 2.42 sends (its scrape.go), what curl sends, and invented ones.
  const std::pair<const char*, Exposition> kRows[] = {
      {"", Exposition::kOpenMetrics},
      {"*/*", Exposition::kOpenMetrics},
      {"application/openmetrics-text;version=1.0.0,application/"
       "openmetrics-text;version=0.0.1;q=0.75,"
       "text/plain;version=0.0.4;q=0.5,*/*;q=0.1",
       Exposition::kOpenMetrics},
      {"text/plain;version=0.0.4;q=1,*/*;q=0.1", Exposition::kOlderText},
      {"text/plain", Exposition::kOlderText},
      {"TEXT/Plain ; Q=0.5 , application/openmetrics-text;q=0.4", Exposition::kOlderText},
      {"text/plain;q=0.4,application/openmetrics-text;q=0.45", Exposition::kOpenMetrics},
      {"text/plain;q=0.5,application/openmetrics-text;q=0.5", Exposition::kOpenMetrics},
      {"application/openmetrics-text;q=0,text/plain;q=0.1", Exposition::kOlderText},
      {"text/plain;q=0", Exposition::kOpenMetrics},
      {"text/plain;q=nonsense", Exposition::kOlderText},
      {",;,;q=", Exposition::kOpenMetrics},
  };
  for (const auto& [accept, wanted] : kRows) EXPECT_EQ(ChooseExposition(accept), wanted) << accept;
}

TEST(Exposition, SecondsHaveThreeDecimalsAndTheirSign) {
  using std::chrono::milliseconds;
  EXPECT_EQ(operate::SecondsText(milliseconds(0)), "0.000");
  EXPECT_EQ(operate::SecondsText(milliseconds(61'007)), "61.007");
  EXPECT_EQ(operate::SecondsText(milliseconds(-1'500)), "-1.500");
  EXPECT_EQ(operate::TimestampText(ReadMoment("2026-04-01T00:00:00.500Z")->instant),
            "1775001600.500");
}

}  // namespace
}  // namespace dwell::test
