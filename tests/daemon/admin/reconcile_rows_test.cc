// The order to read back, as it is read, and what is told of it.
#include "daemon/admin/reconcile_rows.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace dwell::admin {
namespace {

using testing::HasSubstr;

const Instant kNow = ReadMoment("2026-03-27T09:00:00Z")->instant;

Result<reconcile::Order, std::string> Read(const std::string& members) {
  const auto document = schemas::Document::Parse("{" + members + "}");
  return ReadReconcileOrder(document->root(), kNow, {"main", "research"});
}

TEST(ReconcileOrder, TimesAreDateTimesOrSoLongAgo) {
  EXPECT_EQ(ReadTime("2026-03-26T10:00:00+01:00", kNow), kNow - std::chrono::hours(24));
  EXPECT_EQ(ReadTime("3d", kNow), kNow - std::chrono::days(3));
  EXPECT_EQ(ReadTime("36h", kNow), kNow - std::chrono::hours(36));
  for (const char* const text : {"", "d", "3", "3w", "-3d", "3dd", "2026-03-26", "yesterday",
                                 "9999999h", "99999999999999999999d"}) {
    EXPECT_FALSE(ReadTime(text, kNow).has_value()) << text;
  }
}

TEST(ReconcileOrder, ThePeriodMustBeSaidAndRunForward) {
  EXPECT_FALSE(Read(""));
  EXPECT_FALSE(Read(R"("since":"1d","until":"2d")"));
  const auto order = Read(R"("since":"2d","until":"1d","ward":"alder")");
  ASSERT_TRUE(order.has_value());
  EXPECT_EQ(order->accepted.since, kNow - std::chrono::days(2));
  EXPECT_EQ(order->accepted.until, kNow - std::chrono::days(1));
  EXPECT_EQ(order->accepted.ward, "alder");
  EXPECT_FALSE(order->send);
}

TEST(ReconcileOrder, ToSendSomebodyMustSayWhoAndWhy) {
  EXPECT_FALSE(Read(R"("since":"2d","send":true)"));
  EXPECT_FALSE(Read(R"("since":"2d","send":true,"by":"op-3")"));
  EXPECT_FALSE(Read(R"("since":"2d","overwrite":true)"));
  const auto order =
      Read(R"("since":"2d","send":true,"overwrite":true,"by":"op-3","why":"a day was lost")");
  ASSERT_TRUE(order.has_value());
  EXPECT_TRUE(order->send && order->overwrite);
  EXPECT_EQ(order->by, "op-3");
}

TEST(ReconcileRows, FindingsWhatGoesAgainAndTheSumsAreTold) {
  reconcile::Step step;
  reconcile::Finding& finding = step.findings.emplace_back();
  finding.key = {"s", "l1"};
  finding.ward = "alder";
  finding.type = "Device";
  finding.id = "d1";
  finding.bundle_seq = 7;
  finding.accepted_at = kNow;
  finding.grade = reconcile::Grade::kWrongPatient;
  finding.changed_since = true;
  finding.differences.push_back({"/patient", "a", "b"});
  step.sent.push_back({{"s", "l1"}, {8}, 1, 2});
  step.troubles.push_back({{"s", "l2"}, "unreadable"});
  step.tally.looked_at = 2;
  step.tally.of = 9;
  step.tally.Add(finding);
  step.waiting = "the endpoint is unavailable";
  const std::string rows = ReconcileRows(step);
  EXPECT_EQ(rows,
            R"({"resource":"Device/d1","grade":"wrong-patient","source":"s","line_id":"l1",)"
            R"("ward":"alder","delivery":7,"accepted_at":"2026-03-27T09:00:00Z",)"
            R"("changed_since":true,"differences":[{"at":"/patient","sent":"a","held":"b"}]})"
            "\n"
            R"({"sent":{"source":"s","line_id":"l1","deliveries":[8],"resources":1,"left_out":2}})"
            "\n"
            R"({"source":"s","line_id":"l2","trouble":"unreadable"})"
            "\n"
            R"({"looked_at":2,"of":9,"compared":0,"waiting":"the endpoint is unavailable"})"
            "\n");
  step.done = true;
  EXPECT_THAT(ReconcileRows(step), HasSubstr(R"({"sums":{"lines":0,"compared":0,)"
                                             R"("wrong_patient":1,"doubled":0,"missing":0,)"));
  EXPECT_THAT(ReconcileRows(step, "research"),
              HasSubstr(R"({"sums":{"endpoint":"research","lines":0,)"));
  reconcile::Step forbidden;
  reconcile::Finding& one = forbidden.findings.emplace_back();
  one.type = "Task";
  one.grade = reconcile::Grade::kForbidden;
  one.why = "ask";
  EXPECT_THAT(ReconcileRows(forbidden),
              HasSubstr(R"({"resource":"Task","grade":"forbidden","why":"ask"})"));
}

TEST(ReconcileRows, AnEndpointIsOneOfThoseThereAreAndThenAlsoLookedAtForWhatItNeverGot) {
  EXPECT_EQ(Read(R"("since":"3d")")->endpoint, "main");
  EXPECT_FALSE(Read(R"("since":"3d")")->accepted.never_sent);
  const auto order = Read(R"("since":"3d","endpoint":"research")");
  ASSERT_TRUE(order);
  EXPECT_EQ(order->endpoint, "research");
  EXPECT_TRUE(order->accepted.never_sent);
  EXPECT_EQ(Read(R"("since":"3d","endpoint":"reserach")").error(),
            "no endpoint has the name reserach; there are main, research");
}

}  // namespace
}  // namespace dwell::admin
