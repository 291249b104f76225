// A code that neither our CodeSystem nor the maps know: delivered in our own code and words,
// counted once for each event that holds it, listed.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "tests/daemon/ledger/ledger_rig.h"

namespace dwell::ledger {
namespace {

using namespace test;  // NOLINT: the words of this test

class UnknownCode : public LedgerRig {
 protected:
  std::vector<store::UnknownCodeRecord> Listed() {
    std::vector<store::UnknownCodeRecord> rows;
    EXPECT_TRUE(OnStore([&](store::Store& store) -> Result<void> {
                  auto listed = store.ListUnknownCodes();
                  if (listed.has_error()) return listed.error();
                  rows = std::move(listed.value());
                  return {};
                }).has_value());
    return rows;
  }
  /// A site check that took these two actions.
  static std::string Check(const std::string& id, const std::string& actions) {
    return R"({"kind":"site-check","id":")" + id +
           R"(","source":"ward","line_id":"l","happened_at":"2026-03-02T08:00:00Z",
              "recorded_at":"2026-03-02T08:01:00Z",
              "patient":{"system":"https://fhir.nhs.uk/Id/nhs-number","value":"9990000131"},
              "place":{"ward":"7B"},
              "staff":[{"system":"https://fernhill.example/staff","value":"N1","role":"left-over"},
                       {"system":"https://fernhill.example/staff","value":"N2","role":"left-over"}],
              "signs":{"pain":"absent"},"action":[)" +
           actions + "]}";
  }
};

TEST_F(UnknownCode, GoesOutAsOurOwnCodeAndWordsAndIsCountedOnceForEachEvent) {
  Open();
  clock_.Set(Hour(0));
  SendAll({Check("c1", R"("observe","left-over")"), Check("c2", R"("observe")")});
  SendAll({Check("c2", R"("observe")")});  // the same event again
  const auto bodies = Deliver();
  ASSERT_EQ(bodies.size(), 2U);
  EXPECT_THAT(bodies[0],
              testing::HasSubstr(R"({"coding":[{"system":"https://dwelld.example/fhir/CodeSystem/)"
                                 R"(line-care","code":"left-over"}],"text":"left over"})"));
  const auto rows = Listed();
  ASSERT_EQ(rows.size(), 2U);
  EXPECT_EQ(rows[0].group, "role");
  EXPECT_EQ(rows[0].code, "left-over");
  EXPECT_EQ(rows[0].events, 2U);
  EXPECT_EQ(rows[1].group, "action");
  EXPECT_EQ(rows[1].events, 1U);
  EXPECT_EQ(rows[1].first_seen, clock_.Now());
}

TEST_F(UnknownCode, OfAnEventThatIsRefusedIsNotCounted) {
  Open();
  clock_.Set(Hour(-24));  // the events lie in the future
  SendAll({Check("c1", R"("left-over")")});
  EXPECT_TRUE(Listed().empty());
}

}  // namespace
}  // namespace dwell::ledger
