#include "daemon/command/reconcile.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace dwell::command {
namespace {

using testing::HasSubstr;
using testing::Not;

std::string Words(std::string_view row) {
  return ReconciledInWords(schemas::Document::Parse(row)->root());
}

TEST(Reconcile, AFindingTellsWhatWhereAndEachPlaceThatDiffers) {
  EXPECT_EQ(Words(R"({"resource":"Device/d1","grade":"differs","source":"s","line_id":"l1",)"
                  R"("ward":"alder","delivery":7,"accepted_at":"2026-03-02T09:00:00Z",)"
                  R"("differences":[{"at":"/status","sent":"active","held":"inactive"},)"
                  R"({"at":"/note","held":"x"}],"more":3})"),
            "Device/d1: differs\n"
            "  line l1 of s, ward alder, delivery 7, accepted 2026-03-02T09:00:00Z\n"
            "  /status: sent active, held inactive\n"
            "  /note: sent -, held x\n"
            "  and 3 places more\n");
}

TEST(Reconcile, AnotherPatientCannotBeOverlookedAndWhatIsMissingSaysWhy) {
  EXPECT_THAT(Words(R"({"resource":"Procedure/p","grade":"wrong-patient","source":"s",)"
                    R"("line_id":"l","ward":"w","delivery":7,"accepted_at":"x"})"),
              HasSubstr("Procedure/p: NAMES ANOTHER PATIENT\n"));
  const std::string missing =
      Words(R"({"resource":"Task/t","grade":"missing","source":"s","line_id":"l","ward":"w",)"
            R"("delivery":7,"accepted_at":"x","changed_since":true,"why":"it was deleted"})");
  EXPECT_THAT(missing, HasSubstr("Task/t: missing, written since by somebody else\n"));
  EXPECT_THAT(missing, HasSubstr("\n  it was deleted\n"));
}

TEST(Reconcile, WhatGoesAgainNamesItsDeliveriesAndWhatIsLeftOut) {
  EXPECT_EQ(Words(R"({"sent":{"source":"s","line_id":"l","deliveries":[8,9],"resources":60}})"),
            "line l of s: 60 sent again, delivery 8 9\n");
  EXPECT_EQ(Words(R"({"sent":{"source":"s","line_id":"l","deliveries":[],"resources":0,)"
                  R"("left_out":2}})"),
            "line l of s: 0 sent again; 2 left out, the line has gone on since\n");
}

TEST(Reconcile, TroubleIsTold) {
  EXPECT_EQ(Words(R"({"source":"s","line_id":"l","trouble":"delivery 4 can no longer be read"})"),
            "line l of s could not be looked at: delivery 4 can no longer be read\n");
}

TEST(Reconcile, TheSumsSayWhatWasNotCompared) {
  const std::string words =
      Words(R"({"sums":{"lines":3,"compared":20,"wrong_patient":1,"missing":2,"differs":0,)"
            R"("unreadable":0,"changed_since":0,"on_its_way":4,"given_up":0,"not_kept":5,)"
            R"("troubles":0,"sent":0}})");
  EXPECT_THAT(words, HasSubstr("20 resources of 3 lines compared\n"));
  EXPECT_THAT(words, HasSubstr("\n1 NAME ANOTHER PATIENT\n2 missing\n"));
  EXPECT_THAT(words, HasSubstr("\n4 not compared: a delivery that waits"));
  EXPECT_THAT(words, HasSubstr("\n5 deliveries no longer kept: what they held was not compared"));
  EXPECT_THAT(words, Not(HasSubstr("\n0 "))) << "what is none is not told";
}

TEST(Reconcile, ProgressTellsTheRateAndWhyItWaits) {
  const auto row = schemas::Document::Parse(
      R"({"looked_at":4,"of":9,"compared":50,"waiting":"the endpoint is unavailable"})");
  EXPECT_EQ(ProgressInWords(row->root(), 2),
            "4 of 9 lines, 50 resources compared, 25 per second; waits: the endpoint is "
            "unavailable");
}

struct UsageRow {
  const char* what;
  std::vector<std::string> arguments;
  int exit_code;
};

class ReconcileUsage : public testing::TestWithParam<UsageRow> {};

TEST_P(ReconcileUsage, WantsAPeriodAndToSendAlsoWhoAndWhy) {
  const Options options = ReadOptions(GetParam().arguments);
  EXPECT_EQ(options.exit_code, GetParam().exit_code) << GetParam().what;
  EXPECT_EQ(options.verb.empty(), GetParam().exit_code != 0) << GetParam().what;
}

INSTANTIATE_TEST_SUITE_P(
    Rows, ReconcileUsage,
    testing::Values(
        UsageRow{"three days", {"reconcile", "--since", "3d"}, 0},
        UsageRow{"a period of a line",
                 {"reconcile", "--since", "3d", "--until", "1d", "--line", "l", "--source", "s"},
                 0},
        UsageRow{"no period", {"reconcile", "--ward", "w"}, 64},
        UsageRow{
            "to send", {"reconcile", "--since", "3d", "--send", "--by", "op-3", "--why", "y"}, 0},
        UsageRow{"to overwrite",
                 {"reconcile", "--since", "3d", "--send", "--overwrite", "--by", "o", "--why", "y"},
                 0},
        UsageRow{"nobody sends", {"reconcile", "--since", "3d", "--send", "--why", "y"}, 64},
        UsageRow{"overwriting nothing", {"reconcile", "--since", "3d", "--overwrite"}, 64}));

}  // namespace
}  // namespace dwell::command
