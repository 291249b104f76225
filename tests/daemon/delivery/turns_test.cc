// Wards take turns for the senders.
#include "daemon/delivery/turns.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace dwell::delivery {
namespace {

void Put(Turns& turns, std::int64_t ward, std::int64_t seq) {
  store::BundleRecord bundle;
  bundle.seq = seq;
  bundle.ward = ward;
  turns.Put(std::move(bundle));
}

std::vector<std::int64_t> TakeAll(Turns& turns) {
  std::vector<std::int64_t> seqs;
  while (!turns.empty()) seqs.push_back(turns.Take().seq);
  return seqs;
}

TEST(Turns, OneWardIsServedInOrder) {
  Turns turns;
  for (int seq = 1; seq <= 5; ++seq) Put(turns, 7, seq);
  EXPECT_EQ(turns.size(), 5u);
  EXPECT_THAT(TakeAll(turns), testing::ElementsAre(1, 2, 3, 4, 5));
}

TEST(Turns, AWardThatComesLaterIsServedNextHoweverMuchAnotherHas) {
  Turns turns;
  for (int seq = 1; seq <= 500; ++seq) Put(turns, 1, seq);
  EXPECT_EQ(turns.Take().seq, 1);
  Put(turns, 2, 900);
  Put(turns, 2, 901);
  EXPECT_EQ(turns.Take().seq, 2);
  EXPECT_EQ(turns.Take().seq, 900);
  EXPECT_EQ(turns.Take().seq, 3);
  EXPECT_EQ(turns.Take().seq, 901);
  EXPECT_EQ(TakeAll(turns).size(), 497u);
}

TEST(Turns, AWardThatComesAgainIsNotServedTwiceInARound) {
  Turns turns;
  Put(turns, 1, 1);
  Put(turns, 2, 2);
  EXPECT_EQ(turns.Take().seq, 1);
  Put(turns, 1, 3);
  EXPECT_THAT(TakeAll(turns), testing::ElementsAre(2, 3));
}

}  // namespace
}  // namespace dwell::delivery
