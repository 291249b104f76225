// Deriving many lines again: every golden life, and page after page with a crash in between.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <sstream>

#include "tests/daemon/ledger/remapping_rig.h"

namespace dwell::ledger {
namespace {

using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;
using testing::SizeIs;
using namespace test;  // NOLINT: the words of this test

// Every line life of the golden pairs: what the endpoint holds after the change is what it would
// hold if the codes had been these from the beginning, and nothing was sent that it had already.
TEST_F(Remapping, LeavesTheEndpointWithWhatTheNewCodesWouldHaveGivenFromTheStart) {
  const auto licensed =
      std::move(codes::CodeMap::LoadBundled(codes::CodeMap::Edition::kLicensed).value());
  clock_.Set(ReadMoment("2030-01-01T00:00:00Z")->instant);
  std::size_t lives = 0;
  std::size_t kept = 0;
  for (const auto& file :
       std::filesystem::recursive_directory_iterator(DWELL_SOURCE_DIR "/tests/golden")) {
    if (file.path().filename() != "in.ndjson") continue;
    SCOPED_TRACE(file.path().string());
    std::vector<std::string> raws;
    std::istringstream text(ReadBytes(file.path().string()));
    for (std::string line; std::getline(text, line);) {
      if (!line.empty()) raws.push_back(line);
    }
    const auto given_by = [&](const codes::CodeMap& map, const char* store) {
      Close();
      path_ = folder_ / (std::to_string(lives) + store);
      rules_.fhir.codes = &map;
      Open();
      SendAll(raws);
      return TextsIn(Deliver());
    };
    const auto wanted = given_by(licensed, "-new");
    auto held = given_by(Shelf::Get().codes, "-old");
    UseMap(licensed);
    Send();
    for (auto& [name, sent] : TextsIn(Deliver())) {
      EXPECT_NE(held[name], sent) << name;
      held[name] = sent;
    }
    for (const auto& [name, resource] : wanted) {
      if (!name.starts_with("Provenance/")) {
        EXPECT_EQ(held[name], resource) << name;
      }
    }
    const RemapPage again = Send();
    EXPECT_THAT(again.lines, IsEmpty());
    ++lives;
    kept += wanted.size();
  }
  EXPECT_GE(lives, 40U);
  EXPECT_GE(kept, 200U);
}

class ManyLines : public Remapping {
 protected:
  void SetUp() override {
    Open();
    std::vector<std::string> raws;
    for (std::size_t i = 0; i < kLines; ++i) {
      const std::string number = std::to_string(i);
      raws.push_back(Raw(Insertion("e" + number, 0, "line-" + number)));
      raws.push_back(Raw(Flush("f" + number, 0.1, "line-" + number)));
    }
    clock_.Set(Hour(0.1));
    SendAll(raws);
    Deliver();
    UseMap(map_);
  }

  static constexpr std::size_t kLines = 2 * limits::kRemapLinesMax + 3;
  codes::CodeMap map_ = MapWith("sodium-chloride-0.9");
};

TEST_F(ManyLines, ACrashBetweenPagesAndAnotherRunSendNothingTwice) {
  const RemapPage first = Page(Sending());
  ASSERT_TRUE(first.more);
  ASSERT_THAT(first.lines, Not(IsEmpty()));
  ASSERT_LT(first.lines.size(), kLines);
  Reopen();
  EXPECT_EQ(Look().lines.size(), kLines - first.lines.size());
  const RemapPage rest = Send();
  EXPECT_EQ(rest.lines.size(), kLines - first.lines.size());
  EXPECT_GT(pages_, 2);
  EXPECT_THAT(Deliver(), SizeIs(kLines)) << "one delivery for each line";
  EXPECT_THAT(Send().lines, IsEmpty());
}

TEST_F(ManyLines, AFullQueueStopsItAndAnotherRunDoesTheRest) {
  rules_.queue_bundles_max = 10;
  Reopen();
  const RemapPage sent = Send();
  EXPECT_EQ(sent.lines.size(), 10U);
  EXPECT_THAT(sent.refusal, HasSubstr("too many deliveries wait"));
  EXPECT_THAT(Deliver(), SizeIs(10));
  rules_.queue_bundles_max = limits::kQueueBundlesMax;
  Reopen();
  EXPECT_EQ(Send().lines.size(), kLines - 10);
}

}  // namespace
}  // namespace dwell::ledger
