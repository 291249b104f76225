// The ledger's small parts: the stored form of what was issued, the memory of lines, the hash.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "daemon/ledger/content_hash.h"
#include "daemon/ledger/issued_code.h"
#include "daemon/ledger/line_cache.h"

namespace dwell::ledger {
namespace {

TEST(IssuedCode, IsReadBackAsWritten) {
  const std::vector<fhir::Issued> issued{
      {"Device", "dwell-1", 0, 1},
      {"Task", "dwell-0b8a2c3e-1111-5222-8333-444455556666", ~std::uint64_t{0}, 4'000'000'000}};
  EXPECT_EQ(DecodeIssued(EncodeIssued(issued)), issued);
  EXPECT_EQ(DecodeIssued(EncodeIssued({})), std::vector<fhir::Issued>{});
}

TEST(IssuedCode, BytesThatAreCutOrOfAnotherFormAreNotRead) {
  const std::string bytes = EncodeIssued({{"Task", "dwell-1", 7, 1}});
  EXPECT_FALSE(DecodeIssued("").has_value());
  for (std::size_t size = 2; size < bytes.size(); ++size) {
    EXPECT_FALSE(DecodeIssued(bytes.substr(0, size)).has_value()) << size;
  }
  EXPECT_FALSE(DecodeIssued("\x02" + bytes.substr(1)).has_value());
}

LineState LineWith(const std::string& line_id, std::size_t events) {
  LineState line;
  line.key = {"s", line_id};
  line.events.resize(events);
  return line;
}

TEST(LineCache, ForgetsTheLineThatWasNotUsedForLongest) {
  LineCache cache(10);
  cache.Put(LineWith("a", 4));
  cache.Put(LineWith("b", 4));
  ASSERT_NE(cache.Find({"s", "a"}), nullptr);
  cache.Put(LineWith("c", 4));
  EXPECT_EQ(cache.Find({"s", "b"}), nullptr);
  EXPECT_NE(cache.Find({"s", "a"}), nullptr);
  EXPECT_NE(cache.Find({"s", "c"}), nullptr);
  EXPECT_EQ(cache.Find({"other", "a"}), nullptr);
}

TEST(LineCache, KeepsTheLineInUseHoweverLongItIs) {
  LineCache cache(3);
  cache.Put(LineWith("a", 1));
  EXPECT_EQ(cache.Put(LineWith("b", 50))->key.line_id, "b");
  EXPECT_EQ(cache.Find({"s", "a"}), nullptr);
  EXPECT_NE(cache.Find({"s", "b"}), nullptr);
}

TEST(LineCache, ADroppedLineIsGoneAndMakesRoom) {
  LineCache cache(10);
  cache.Put(LineWith("a", 6));
  cache.Drop({"s", "a"});
  cache.Drop({"s", "a"});
  EXPECT_EQ(cache.Find({"s", "a"}), nullptr);
  cache.Put(LineWith("b", 6));
  cache.Put(LineWith("c", 4));
  EXPECT_NE(cache.Find({"s", "b"}), nullptr);
}

std::string Hex(const store::Sha256& hash) {
  std::string text;
  for (const std::uint8_t byte : hash) {
    constexpr char kDigits[] = "0123456789abcdef";
    text += kDigits[byte >> 4];
    text += kDigits[byte & 15];
  }
  return text;
}

// The one-block and the two-block example that NIST publishes with FIPS 180-4 (csrc.nist.gov,
// "Cryptographic Standards and Guidelines", SHA256.pdf).
TEST(ContentHash, GivesThePublishedExamples) {
  EXPECT_EQ(Hex(ContentHash("abc")),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  EXPECT_EQ(Hex(ContentHash("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq")),
            "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
}

TEST(ContentHash, DoesNotSeeTheWhiteSpaceAroundAnEvent) {
  for (const auto* const same : {"abc\n", "\r\n\t abc \r\n"}) {
    EXPECT_EQ(ContentHash(same), ContentHash("abc")) << same;
  }
  for (const auto* const other : {"a bc", "abc\v", "ab", ""}) {
    EXPECT_NE(ContentHash(other), ContentHash("abc")) << other;
  }
  EXPECT_EQ(ContentHash(" \n"), ContentHash(""));
}

}  // namespace
}  // namespace dwell::ledger
