// Deliveries whose stored bytes are damaged: a person's decision makes them anew.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "daemon/store/packing.h"
#include "tests/daemon/ledger/deciding_rig.h"
#include "tests/support/flipped_bit.h"

namespace dwell::ledger {
namespace {

using store::Act;
using store::DeliveryState;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;
using testing::SizeIs;
using namespace test;  // NOLINT: the words of this test

/// A disk that gives back another bit of what was to be sent.
class Damaged : public Deciding {
 protected:
  /// Of the stored body.
  void Damage(std::int64_t seq) {
    const store::BundleRecord bundle = BundleOf(seq);
    Close();
    store::Packer packer;
    const store::Owner owner{seq, bundle.line_seq, bundle.endpoint, bundle.entries};
    FlipBit(path_, packer.Pack(bundle.body, owner).substr(0, 60), 40);
    Open();
  }
};

TEST_F(Damaged, AReleasedBundleWithADamagedBodyIsMadeAnewFromItsLinesEvents) {
  Open();
  Store(Insertion("e1", 0));
  Store(Insertion("other", 0, "line-2"));
  Store(Flush("e2", 1));
  const auto told = NamesIn({BundleOf(1).body, BundleOf(3).body});
  Damage(1);
  const auto others = Deliver();
  ASSERT_THAT(others, SizeIs(1)) << "other lines go on";
  EXPECT_THAT(others[0], HasSubstr("other"));
  ASSERT_EQ(BundleOf(1).state, DeliveryState::kOnHold);
  const Ruling ruling = Release("1");
  ASSERT_THAT(ruling.decided, SizeIs(1));
  EXPECT_EQ(ruling.decided[0].refusal, "");
  EXPECT_EQ(ruling.decided[0].act, Act::kMadeAgain);
  EXPECT_THAT(ruling.decided[0].with_it, ElementsAre(3)) << "it was made on top of the damaged one";
  const auto bodies = Deliver();
  ASSERT_THAT(bodies, SizeIs(1));
  EXPECT_THAT(NamesIn(bodies), testing::IsSupersetOf(told)) << "nothing is lost";
  EXPECT_EQ(ReadHeld(bodies[0], Shelf::Get().schemas)->fault, "");
  Store(Flush("e3", 2));
  EXPECT_THAT(NamesIn(Deliver()), Not(testing::Contains(testing::StartsWith("Device/"))))
      << "nothing is told twice";
}

TEST_F(Damaged, OfACancelledBundleWithADamagedBodyEverythingComesWithTheLinesNextOne) {
  Open();
  Store(Insertion("e1", 0));
  const auto told = NamesIn({BundleOf(1).body});
  Damage(1);
  EXPECT_THAT(Deliver(), IsEmpty());
  const Ruling ruling = Cancel("1");
  ASSERT_THAT(ruling.decided, SizeIs(1));
  EXPECT_EQ(ruling.decided[0].refusal, "");
  EXPECT_THAT(ruling.decided[0].forgotten, testing::IsSupersetOf(told));
  EXPECT_EQ(BundleOf(1).state, DeliveryState::kCancelled);
  Store(Flush("e2", 1));
  EXPECT_THAT(NamesIn(Deliver()), testing::IsSupersetOf(told));
}

TEST_F(Damaged, ABundleThatIsBehindADamagedOneAndDamagedItselfIsMadeAnewToo) {
  Open();
  Store(Insertion("e1", 0));
  Store(Flush("e2", 1));
  const auto told = NamesIn({BundleOf(1).body, BundleOf(2).body});
  Damage(1);
  Damage(2);
  EXPECT_THAT(Deliver(), IsEmpty());
  EXPECT_THAT(Release("1").decided.at(0).with_it, ElementsAre(2));
  const auto bodies = Deliver();
  ASSERT_THAT(bodies, SizeIs(1));
  EXPECT_THAT(NamesIn(bodies), testing::IsSupersetOf(told));
}

}  // namespace
}  // namespace dwell::ledger
