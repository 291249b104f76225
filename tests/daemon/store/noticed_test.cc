// Unknown codes and doubtful identifiers of events, counted for good.
#include <gtest/gtest.h>

#include "tests/daemon/store/store_records.h"

namespace dwell::store {
namespace {

/// Counts in one transaction that is committed.
void Count(Store& store, const std::string& group, const std::string& code, std::int64_t ms) {
  Good(store.Begin());
  Good(store.CountUnknownCode(group, code, At(ms)));
  Good(store.Commit());
}

TEST(UnknownCodes, AreCountedWithTheirFirstAndLastTimeAndKept) {
  const test::TempFolder folder;
  {
    const auto store = OpenStore(folder / "store");
    Count(*store, "reason", "left-over", 1000);
    Count(*store, "site", "left-over", 2000);
    Count(*store, "reason", "left-over", 3000);
  }
  const auto rows = Good(OpenStore(folder / "store")->ListUnknownCodes());
  ASSERT_EQ(rows.size(), 2U);
  EXPECT_EQ(rows[0].group, "reason");
  EXPECT_EQ(rows[0].code, "left-over");
  EXPECT_EQ(rows[0].events, 2U);
  EXPECT_EQ(rows[0].first_seen, At(1000));
  EXPECT_EQ(rows[0].last_seen, At(3000));
  EXPECT_EQ(rows[1].group, "site");
}

TEST(UnknownCodes, OfATransactionThatWasRolledBackAreNotCounted) {
  const test::TempFolder folder;
  const auto store = OpenStore(folder / "store");
  Good(store->Begin());
  Good(store->CountUnknownCode("reason", "left-over", At(1)));
  store->Rollback();
  EXPECT_TRUE(Good(store->ListUnknownCodes()).empty());
}

TEST(UnknownCodes, BeyondTheLimitAreCountedTogether) {
  const test::TempFolder folder;
  const auto store = OpenStore(folder / "store");
  Good(store->Begin());
  for (std::size_t i = 0; i < limits::kUnknownCodesMax + 5; ++i) {
    Good(store->CountUnknownCode("reason", "code-" + std::to_string(i), At(1)));
  }
  Good(store->CountUnknownCode("reason", "code-0", At(2)));
  Good(store->Commit());
  const auto rows = Good(store->ListUnknownCodes());
  ASSERT_EQ(rows.size(), limits::kUnknownCodesMax + 1);
  EXPECT_EQ(rows[0].events, 2U);
  EXPECT_EQ(rows.back().code, "");
  EXPECT_EQ(rows.back().events, 5U);
}

TEST(DoubtfulIdentifiers, AreCountedBySourceAndSystemAndKept) {
  const test::TempFolder folder;
  {
    const auto store = OpenStore(folder / "store");
    Good(store->Begin());
    Good(store->CountDoubtfulIdentifier("ward-7b", "urn:a", At(1000)));
    Good(store->CountDoubtfulIdentifier("ward-8", "urn:a", At(2000)));
    Good(store->CountDoubtfulIdentifier("ward-7b", "urn:a", At(3000)));
    Good(store->Commit());
    Good(store->Begin());
    Good(store->CountDoubtfulIdentifier("ward-9", "urn:a", At(4000)));
    store->Rollback();
  }
  const auto store = OpenStore(folder / "store");
  const auto rows = Good(store->ListDoubtfulIdentifiers());
  ASSERT_EQ(rows.size(), 2U);
  EXPECT_EQ(rows[0].source, "ward-7b");
  EXPECT_EQ(rows[0].system, "urn:a");
  EXPECT_EQ(rows[0].events, 2U);
  EXPECT_EQ(rows[0].first_seen, At(1000));
  EXPECT_EQ(rows[0].last_seen, At(3000));
  EXPECT_EQ(rows[1].source, "ward-8");
  EXPECT_TRUE(Good(store->ListUnknownCodes()).empty());
}

TEST(DoubtfulIdentifiers, BeyondTheLimitAreCountedTogether) {
  const test::TempFolder folder;
  const auto store = OpenStore(folder / "store");
  Good(store->Begin());
  for (std::size_t i = 0; i < limits::kDoubtfulIdentifiersMax + 5; ++i) {
    Good(store->CountDoubtfulIdentifier("source-" + std::to_string(i), "urn:a", At(1)));
  }
  Good(store->Commit());
  const auto rows = Good(store->ListDoubtfulIdentifiers());
  ASSERT_EQ(rows.size(), limits::kDoubtfulIdentifiersMax + 1);
  EXPECT_EQ(rows.back().source, "");
  EXPECT_EQ(rows.back().events, 5U);
}

}  // namespace
}  // namespace dwell::store
