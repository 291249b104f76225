// Lines through the ledger: late, out-of-order, corrected and retracted events; and that what is
// kept in memory makes no difference to what is stored and sent.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>

#include "tests/daemon/ledger/ledger_rig.h"

namespace dwell::ledger {
namespace {

using testing::HasSubstr;
using testing::Not;
using namespace test;  // NOLINT: the words of this test

class Life : public LedgerRig {
 protected:
  std::string Summary() {
    std::string summary;
    EXPECT_TRUE(OnStore([&](store::Store& store) -> Result<void> {
                  auto lines = store.ListLines(0, 10);
                  if (lines.has_error()) return lines.error();
                  summary = lines.value().at(0).summary;
                  return {};
                }).has_value());
    return summary;
  }
};

std::vector<Sketch> WholeLife() {
  return {Insertion("e1", 0),
          SiteCheck("e2", 5),
          Flush("e3", 6),
          SiteCheck("e4", 13, 1),
          Replacing(SiteCheck("e5", 13.5, 2), "e4"),
          Retraction("e6", 14, "e3"),
          Removal("e7", 20),
          SiteCheck("e8", 30)};
}

TEST_F(Life, OfEveryKindIsStoredInOneSubmissionInOrder) {
  Open();
  clock_.Set(Hour(31));
  std::vector<std::string> raws;
  for (const Sketch& sketch : WholeLife()) raws.push_back(Raw(sketch));
  const auto receipts = SendAll(raws);
  for (std::size_t i = 0; i < receipts.size(); ++i) {
    EXPECT_EQ(receipts[i].answer, Answer::kStored) << i << receipts[i].contradiction.rule;
    EXPECT_EQ(receipts[i].event_seq, static_cast<std::int64_t>(i) + 1);
  }
  EXPECT_THAT(Summary(), HasSubstr(R"("phase":"removed")"));
  EXPECT_EQ(Counts().on_hold, 0u);
  EXPECT_EQ(Counts().ready, WholeLife().size());
}

TEST_F(Life, GivesTheSameBytesWhetherRememberedOrReadAgain) {
  std::vector<std::vector<std::string>> bodies;
  for (const bool reopen : {false, true}) {
    path_ = folder_ / (reopen ? "reopened" : "kept");
    Open();
    for (const Sketch& sketch : WholeLife()) {
      Store(sketch);
      ASSERT_TRUE(CatchUp().has_value());
      if (reopen) Reopen();
    }
    bodies.push_back(Deliver());
    Close();
  }
  ASSERT_GE(bodies[0].size(), WholeLife().size());
  EXPECT_EQ(bodies[0], bodies[1]);
}

TEST_F(Life, EndsInTheSameStateWhateverTheOrderOfArrival) {
  std::vector<Sketch> events = WholeLife();
  std::vector<std::string> summaries;
  for (int round = 0; round < 3; ++round) {
    path_ = folder_ / ("order-" + std::to_string(round));
    Open();
    clock_.Set(Hour(31));
    for (const Sketch& sketch : events) {
      EXPECT_EQ(Send(sketch).answer, Answer::kStored) << sketch.id << " in round " << round;
    }
    summaries.push_back(Summary());
    Close();
    std::rotate(events.begin(), events.begin() + 3, events.end());
  }
  EXPECT_EQ(summaries[1], summaries[0]);
  EXPECT_EQ(summaries[2], summaries[0]);
}

TEST_F(Life, MayBeginWithACheckUntilTheInsertionIsTold) {
  Open();
  Store(SiteCheck("e1", 2));
  EXPECT_THAT(Summary(), HasSubstr(R"("phase":"unknown")"));
  EXPECT_THAT(Summary(), HasSubstr("insertion-record-missing"));
  Sketch late = Insertion("e2", 0);
  late.recorded_hours = 3;
  Store(late);
  EXPECT_THAT(Summary(), HasSubstr(R"("phase":"in-place")"));
  EXPECT_THAT(Summary(), Not(HasSubstr("insertion-record-missing")));
}

TEST_F(Life, ACorrectionCountsInPlaceOfWhatItReplaces) {
  Open();
  Store(Insertion("e1", 0));
  Store(SiteCheck("e2", 1, 3));
  EXPECT_THAT(Summary(), HasSubstr("remove-now"));
  Sketch correction = Replacing(SiteCheck("e3", 1, 0), "e2");
  correction.recorded_hours = 2;
  Store(correction);
  EXPECT_THAT(Summary(), Not(HasSubstr("remove-now")));
  EXPECT_THAT(Summary(), HasSubstr(R"("last_grade":0)"));
}

TEST_F(Life, ALineWhoseOnlyEventIsRetractedIsTakenBack) {
  Open();
  Store(Insertion("e1", 0));
  Store(Retraction("e2", 2, "e1"));
  EXPECT_THAT(Summary(), HasSubstr(R"("phase":"taken-back")"));
}

TEST_F(Life, ARetractedRemovalPutsTheLineBackInPlace) {
  Open();
  Store(Insertion("e1", 0));
  Store(Removal("e2", 1));
  EXPECT_THAT(Summary(), HasSubstr(R"("phase":"removed")"));
  Store(Retraction("e3", 2, "e2"));
  EXPECT_THAT(Summary(), HasSubstr(R"("phase":"in-place")"));
  EXPECT_THAT(Summary(), HasSubstr(R"("removed_at":null)"));
}

TEST_F(Life, AShorterWatchInANewPolicyDoesNotMakeThePastIllegal) {
  due::Policy policy = PracticePolicy();
  rules_.policy = &policy;
  Open();
  Store(Insertion("e1", 0));
  Store(Removal("e2", 1));
  Store(SiteCheck("e3", 40));
  Close();
  policy.watch = std::chrono::minutes(1);
  Open();
  clock_.Set(Hour(60));
  ASSERT_TRUE(CatchUp().has_value());
  EXPECT_EQ(Send(Retraction("e4", 60, "e3")).answer, Answer::kStored);
  EXPECT_EQ(Send(SiteCheck("e5", 60)).answer, Answer::kContradiction);
}

}  // namespace
}  // namespace dwell::ledger
