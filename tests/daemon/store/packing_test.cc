#include "daemon/store/packing.h"

#include <gtest/gtest.h>

namespace dwell::store {
namespace {

TEST(Packing, WhatWasPackedComesBackWhatever) {
  Packer packer;
  std::string noise;
  unsigned state = 1;
  for (int i = 0; i < 5000; ++i) {
    state = state * 1664525U + 1013904223U;
    noise += static_cast<char>(state >> 24U);
  }
  const std::string texts[] = {"", "x", std::string(100'000, 'a'), noise, "{\"a\":\"\\u0000\"}"};
  for (const std::string& text : texts) {
    EXPECT_EQ(Packer::Unpack(packer.Pack(text)), text) << text.size();
  }
}

TEST(Packing, RepetitionTakesLittleRoom) {
  Packer packer;
  std::string text;
  for (int i = 0; i < 100; ++i) text += R"({"system":"https://dwelld.example","code":"absent"},)";
  EXPECT_LT(packer.Pack(text).size(), text.size() / 10);
}

TEST(Packing, DamagedBytesAreNoticed) {
  Packer packer;
  const std::string packed(packer.Pack("a body that is long enough to be packed, packed, packed"));
  EXPECT_EQ(Packer::Unpack(""), std::nullopt);
  EXPECT_EQ(Packer::Unpack("abc"), std::nullopt);
  EXPECT_EQ(Packer::Unpack(packed.substr(0, packed.size() - 1)), std::nullopt);
  std::string larger = packed;
  larger[0] = static_cast<char>(larger[0] + 1);
  EXPECT_EQ(Packer::Unpack(larger), std::nullopt);
  larger[3] = '\x3f';
  EXPECT_EQ(Packer::Unpack(larger), std::nullopt);
}

TEST(Packing, NoChangedBitGoesUnnoticed) {
  Packer packer;
  const std::string text = R"({"value":"9990000018","status":"active","value":"9990000026"})";
  const std::string packed(packer.Pack(text));
  const std::size_t before = 4 + 8;  // size and sum
  for (std::size_t bit = 0; bit < packed.size() * 8; ++bit) {
    std::string changed = packed;
    changed[bit / 8] = static_cast<char>(changed[bit / 8] ^ (1U << (bit % 8)));
    // Without its mark the sum would be read as part of the block, which it never is as a whole.
    EXPECT_NE(Packer::Unpack(changed), std::optional<std::string>(text)) << bit;
    if (bit / 8 >= before) {
      EXPECT_EQ(Packer::Unpack(changed), std::nullopt) << bit;
    }
  }
}

TEST(Packing, BodiesOfBeforeHaveNoSumAndAreRead) {
  Packer packer;
  const std::string text = "a body that is long enough to be packed, packed, packed";
  std::string old(packer.Pack(text));
  old.erase(4, 8);
  old[3] = '\0';
  EXPECT_EQ(Packer::Unpack(old), text);
}

}  // namespace
}  // namespace dwell::store
