#include "daemon/store/packing.h"

#include <gtest/gtest.h>

#include <vector>

namespace dwell::store {
namespace {

constexpr Owner kOwner{.bundle_seq = 5, .line_seq = 3, .endpoint = 1, .entries = 2};

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
    EXPECT_EQ(Packer::Unpack(packer.Pack(text, kOwner), kOwner), text) << text.size();
  }
}

TEST(Packing, RepetitionTakesLittleRoom) {
  Packer packer;
  std::string text;
  for (int i = 0; i < 100; ++i) text += R"({"system":"https://dwelld.example","code":"absent"},)";
  EXPECT_LT(packer.Pack(text, kOwner).size(), text.size() / 10);
}

TEST(Packing, DamagedBytesAreNoticed) {
  Packer packer;
  const std::string packed(
      packer.Pack("a body that is long enough to be packed, packed, packed", kOwner));
  EXPECT_EQ(Packer::Unpack("", kOwner), std::nullopt);
  EXPECT_EQ(Packer::Unpack("abc", kOwner), std::nullopt);
  EXPECT_EQ(Packer::Unpack(packed.substr(0, packed.size() - 1), kOwner), std::nullopt);
  std::string larger = packed;
  larger[0] = static_cast<char>(larger[0] + 1);
  EXPECT_EQ(Packer::Unpack(larger, kOwner), std::nullopt);
  larger[3] = '\x3f';
  EXPECT_EQ(Packer::Unpack(larger, kOwner), std::nullopt);
}

TEST(Packing, NoChangedBitGoesUnnoticed) {
  Packer packer;
  const std::string text = R"({"value":"9990000018","status":"active","value":"9990000026"})";
  const std::string packed(packer.Pack(text, kOwner));
  const std::size_t before = 4 + 8;  // size and sum
  for (std::size_t bit = 0; bit < packed.size() * 8; ++bit) {
    std::string changed = packed;
    changed[bit / 8] = static_cast<char>(changed[bit / 8] ^ (1U << (bit % 8)));
    // Without its mark the sum would be read as part of the block, which it never is as a whole.
    EXPECT_NE(Packer::Unpack(changed, kOwner), std::optional<std::string>(text)) << bit;
    if (bit / 8 >= before) {
      EXPECT_EQ(Packer::Unpack(changed, kOwner), std::nullopt) << bit;
    }
  }
}

TEST(Packing, ABodyIsNobodyElses) {
  Packer packer;
  const std::string packed(packer.Pack("a body", kOwner));
  const std::vector<void (*)(Owner&)> changes = {
      [](Owner& owner) { ++owner.bundle_seq; }, [](Owner& owner) { ++owner.line_seq; },
      [](Owner& owner) { ++owner.endpoint; }, [](Owner& owner) { ++owner.entries; }};
  for (const auto change : changes) {
    Owner other = kOwner;
    change(other);
    EXPECT_EQ(Packer::Unpack(packed, other), std::nullopt);
  }
}

TEST(Packing, BodiesOfBeforeHaveNoSumAndAreRead) {
  Packer packer;
  const std::string text = "a body that is long enough to be packed, packed, packed";
  std::string old(packer.Pack(text, kOwner));
  old.erase(4, 8);
  old[3] = '\0';
  EXPECT_EQ(Packer::Unpack(old, kOwner), text);
}

}  // namespace
}  // namespace dwell::store
