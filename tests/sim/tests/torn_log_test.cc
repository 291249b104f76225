// The log cut off in its middle: what was whole in it is there, what was not never was.
#include <gtest/gtest.h>

#include <vector>

#include "tests/sim/tests/walk.h"

namespace dwell::sim {
namespace {

constexpr std::size_t kLogHeaderBytes = 32;    // SQLite file format, section 4.1
constexpr std::size_t kFrameHeaderBytes = 24;  // the same
constexpr std::size_t kFrameBytes = kFrameHeaderBytes + store::kPageBytes;

/// A store whose log holds three events; and how long the log was after each.
struct Short {
  std::string file, log;
  std::vector<std::size_t> whole_at;
};

Short MakeShort() {
  Walk walk(1);
  walk.peer().SetMood(Mood::kUnreachable);
  walk.Start();
  Short made;
  for (const test::Sketch& sketch :
       {test::Insertion("e-1", 0), test::SiteCheck("e-2", 0.2), test::Flush("e-3", 0.4)}) {
    EXPECT_EQ(walk.Send(sketch), 201);
    made.whole_at.push_back(walk.disk().Find("/store-wal")->now.size());
  }
  made.file = walk.disk().Find("/store")->now;
  made.log = walk.disk().Find("/store-wal")->now;
  return made;
}

/// Every byte of a frame's header and one beyond, and every sector in between.
std::vector<std::size_t> CutPoints(std::size_t log_bytes) {
  std::vector<std::size_t> points;
  for (std::size_t at = 0; at <= log_bytes; ++at) {
    const std::size_t in_frame = at < kLogHeaderBytes ? 0 : (at - kLogHeaderBytes) % kFrameBytes;
    if (in_frame <= kFrameHeaderBytes + 1 || in_frame == kFrameBytes - 1 || at % 512 == 0) {
      points.push_back(at);
    }
  }
  return points;
}

TEST(TornLog, WhereverItEndsEveryEventIsThereWholeOrNotAtAll) {
  const Short made = MakeShort();
  std::size_t seen[4] = {0, 0, 0, 0};
  for (const std::size_t at : CutPoints(made.log.size())) {
    Disk disk(at);
    disk.Put("/store", made.file);
    disk.Put("/store-wal", made.log.substr(0, at));
    store::Options options;
    options.files = &disk;
    const auto store = store::Store::Open("/store", options);
    ASSERT_TRUE(store.has_value()) << at << ": " << store.error().message();
    std::size_t expected = 0;
    while (expected < made.whole_at.size() && made.whole_at[expected] <= at) ++expected;
    ASSERT_EQ((*store)->counts().events, expected) << at;
    ++seen[expected];
    for (std::size_t i = 0; i < made.whole_at.size(); ++i) {
      const auto event = (*store)->FindEvent("ward-tablets", "e-" + std::to_string(i + 1));
      ASSERT_TRUE(event.has_value());
      ASSERT_EQ(event->has_value(), i < expected) << at;
      if (!event->has_value()) continue;
      const auto bundles = (*store)->BundlesOfEvent((*event)->seq);
      ASSERT_TRUE(bundles.has_value());
      ASSERT_EQ(bundles->size(), 1u) << at;
      ASSERT_FALSE((*store)->FindBundle(bundles->front().seq).value()->body.empty());
    }
  }
  for (const std::size_t count : seen) EXPECT_GT(count, 0u);
}

}  // namespace
}  // namespace dwell::sim
