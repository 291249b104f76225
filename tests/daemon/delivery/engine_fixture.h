// The engine of delivery with two clocks turned by hand.
#pragma once

#include <gtest/gtest.h>

#include "daemon/delivery/engine.h"

namespace dwell::delivery {

using std::chrono::milliseconds;
using std::chrono::seconds;

class EngineTest : public testing::Test {
 protected:
  EngineTest() {
    now_.wall = first_;
    now_.steady = kStart;
  }

  void Pass(milliseconds time) {
    now_.wall += time;
    now_.steady += time;
  }
  Orders Decide() { return engine_.Decide(now_); }
  /// So much later, as it stands in the store.
  Instant At(milliseconds later) const {
    return first_ + later + std::chrono::duration_cast<milliseconds>(now_.steady - kStart);
  }

  /// The visit that is due now brings these.
  void Visited(std::vector<store::BundleRecord> claimed,
               std::optional<Instant> next_ready = std::nullopt) {
    ASSERT_TRUE(Decide().visit);
    engine_.Visited(std::move(claimed), next_ready, now_);
  }
  void Ended(const Sending& sending, const Verdict& verdict) {
    Outcome outcome;
    outcome.verdicts.assign(sending.bundles.size(), verdict);
    outcome.sign = SignOf(verdict);
    engine_.Ended(sending, outcome, now_, random_ += 7919);
  }
  /// The endpoint was down, and the pause is over.
  void Pause() {
    Visited(Bundles(1'000, 1));
    Ended(Decide().sendings.at(0), Down());
    EXPECT_TRUE(Decide().gather);
    engine_.Gathered();
    Visited({}, now_.wall);
    Pass(seconds(1));
  }

  static std::vector<store::BundleRecord> Bundles(std::int64_t first, std::size_t number) {
    std::vector<store::BundleRecord> bundles(number);
    for (store::BundleRecord& bundle : bundles) {
      bundle.seq = first++;
      bundle.line_seq = bundle.seq;
      bundle.state = store::DeliveryState::kInProgress;
      bundle.entries = 2;
    }
    return bundles;
  }
  static Verdict Done() { return {}; }
  static Verdict Strained() {
    Verdict verdict;
    verdict.course = Course::kAgain;
    verdict.why = "unavailable";
    return verdict;
  }
  static Verdict Down() {
    Verdict verdict;
    verdict.course = Course::kPause;
    verdict.untouched = true;
    verdict.pauses = true;
    verdict.why = "refused";
    return verdict;
  }

  static std::vector<std::int64_t> SeqsOf(const Orders& orders) {
    std::vector<std::int64_t> seqs;
    for (const Sending& sending : orders.sendings) {
      for (const store::BundleRecord& bundle : sending.bundles) seqs.push_back(bundle.seq);
    }
    return seqs;
  }
  static std::vector<std::size_t> SendersOf(const Orders& orders) {
    std::vector<std::size_t> senders;
    for (const Sending& sending : orders.sendings) senders.push_back(sending.sender);
    return senders;
  }

  static constexpr Engine::Time kStart{std::chrono::hours(1)};
  const Instant first_{std::chrono::hours(500'000)};
  Times now_;
  std::uint64_t random_ = 0;
  Engine engine_{{.in_flight_max = 4, .backoff = {.first = seconds(1), .most = seconds(900)}}};
};

}  // namespace dwell::delivery
