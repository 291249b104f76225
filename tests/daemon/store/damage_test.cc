// A disk that changes bits: what the store notices, and that the rest goes on.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sqlite3.h>

#include <functional>

#include "daemon/store/packing.h"
#include "tests/daemon/store/store_records.h"
#include "tests/support/flipped_bit.h"

namespace dwell::store {
namespace {

using testing::ElementsAre;
using testing::IsEmpty;

class Damage : public testing::Test {
 protected:
  void Fill(const std::function<void(Store&)>& fill) {
    const auto store = OpenStore(path_);
    Good(store->Begin());
    fill(*store);
    Good(store->Commit());
    Good(store->Finish());
  }
  /// One bit of the stored body is another from now on.
  void DamageBody(const BundleRecord& bundle) {
    Packer packer;
    const Owner owner{bundle.seq, bundle.line_seq, bundle.endpoint, bundle.entries};
    test::FlipBit(path_, packer.Pack(bundle.body, owner), 12 + 3);  // behind size and sum
  }
  std::vector<std::int64_t> ClaimAll(Store& store) {
    return Seqs(Good(store.Claim(0, At(5000), 100)));
  }

  test::TempFolder folder_;
  std::string path_ = folder_ / "store";
};

TEST_F(Damage, ABundleWithADamagedBodyIsPutOnHoldAndHoldsItsOwnLaneOnly) {
  BundleRecord damaged;
  Fill([&](Store& store) {
    for (const char* line_id : {"a", "b"}) {
      const std::int64_t line = AddLine(store, line_id);
      for (int i = 0; i < 2; ++i) {
        BundleRecord bundle = Bundle(line, AddEvent(store, line, line_id + std::to_string(i)));
        bundle.seq = Good(store.AddBundle(bundle));
        if (bundle.seq == 1) damaged = bundle;
      }
    }
  });
  DamageBody(damaged);
  const auto store = OpenStore(path_);
  Good(store->Begin());
  EXPECT_THAT(ClaimAll(*store), ElementsAre(3));
  const BundleRecord held = *Good(store->FindBundle(1));
  EXPECT_EQ(held.state, DeliveryState::kOnHold);
  EXPECT_EQ(held.why, kDamagedBody);
  EXPECT_EQ(held.settled_at, At(5000));
  EXPECT_EQ(held.attempts, 0u);
  EXPECT_TRUE(held.damaged);
  EXPECT_EQ(held.body, "");
  EXPECT_EQ(Good(store->NextReady(0)), std::nullopt) << "what waits behind it does not go";
  EXPECT_THAT(Good(store->OnHold(0, "damaged", 10)), ElementsAre(1));
  Good(store->Settle(Settled(3, DeliveryState::kCompleted)));
  EXPECT_THAT(ClaimAll(*store), ElementsAre(4)) << "the other lane goes on";
  EXPECT_EQ(store->counts().on_hold, 1u);
  Good(store->Commit());
}

TEST_F(Damage, ABundleWhoseBodyIsGoneIsPutOnHold) {
  Fill([&](Store& store) {
    const std::int64_t line = AddLine(store, "a");
    Good(store.AddBundle(Bundle(line, AddEvent(store, line, "e1"))));
  });
  sqlite3* db = nullptr;
  ASSERT_EQ(sqlite3_open(path_.c_str(), &db), SQLITE_OK);
  ASSERT_EQ(sqlite3_exec(db, "DELETE FROM body", nullptr, nullptr, nullptr), SQLITE_OK);
  sqlite3_close(db);
  const auto store = OpenStore(path_);
  Good(store->Begin());
  EXPECT_THAT(ClaimAll(*store), IsEmpty());
  EXPECT_EQ(Good(store->FindBundle(1))->state, DeliveryState::kOnHold);
  Good(store->Commit());
}

TEST_F(Damage, ABodyThatStandsUnderAnotherBundlesNumberIsNotSentInItsPlace) {
  Fill([&](Store& store) {
    for (const char* line_id : {"a", "b"}) {
      const std::int64_t line = AddLine(store, line_id);
      Good(store.AddBundle(Bundle(line, AddEvent(store, line, line_id))));
    }
  });
  sqlite3* db = nullptr;
  ASSERT_EQ(sqlite3_open(path_.c_str(), &db), SQLITE_OK);
  constexpr const char* kSwap =
      "UPDATE body SET packed = (SELECT packed FROM body WHERE bundle_seq = 2) WHERE bundle_seq = "
      "1";
  ASSERT_EQ(sqlite3_exec(db, kSwap, nullptr, nullptr, nullptr), SQLITE_OK);
  sqlite3_close(db);
  const auto store = OpenStore(path_);
  Good(store->Begin());
  EXPECT_THAT(ClaimAll(*store), ElementsAre(2));
  EXPECT_EQ(Good(store->FindBundle(1))->state, DeliveryState::kOnHold);
  Good(store->Commit());
}

}  // namespace
}  // namespace dwell::store
