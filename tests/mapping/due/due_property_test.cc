// What must hold for every line: random lives, random arrival, every instant.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <map>
#include <set>

#include "tests/mapping/due/random_life.h"
#include "tests/mapping/due/sample_policy.h"

namespace dwell::due {
namespace {

using namespace samples;  // NOLINT: the words of this test

using Identity = std::pair<Rule, std::string>;

// The list is derived without memory. So whatever was told once must stay in it, whatever late,
// corrected or retracted events come: otherwise its Task would stay open for ever.
TEST(DueProperty, WhatWasToldOnceNeverDisappears) {
  std::size_t arrivals = 0;
  for (unsigned seed = 0; seed < 4000; ++seed) {
    Random random(seed);
    std::vector<event::Event> accepted;
    std::set<Identity> told;
    for (const auto& event : RandomLife(random)) {
      // A correction of a correction that has not come goes by that one's id until it comes.
      const bool waits = event.replaces.starts_with("u") &&
                         std::none_of(accepted.begin(), accepted.end(),
                                      [&event](const auto& e) { return e.id == event.replaces; });
      if (waits) continue;
      auto attempt = accepted;
      attempt.push_back(event);
      const auto line = Derived(attempt);
      if (!line) continue;
      accepted = std::move(attempt);
      ++arrivals;
      const auto dues =
          Compute(*line, CommonPractice(), London(), Hours(Below(random, 120)).instant);
      std::map<Identity, const Due*> listed;
      for (const Due& due : dues) {
        const Identity identity{due.rule, due.anchor_id};
        ASSERT_TRUE(listed.emplace(identity, &due).second)
            << "twice, seed " << seed << ": " << Text(due);
        if (!due.only_if_issued) told.insert(identity);
      }
      for (const auto& [rule, anchor] : told) {
        ASSERT_TRUE(listed.contains({rule, anchor}))
            << "seed " << seed << " after " << event.id << ": " << RuleCode(rule) << " " << anchor;
      }
    }
  }
  EXPECT_GT(arrivals, 20'000U);
}

TEST(DueProperty, OneDueOfARuleIsOpenAtATime) {
  for (unsigned seed = 0; seed < 1000; ++seed) {
    Random random(seed);
    const auto line = Derived(RandomLife(random));
    if (!line) continue;
    std::set<Rule> open;
    for (const Due& due : Compute(*line, CommonPractice(), London(), Hours(50).instant)) {
      if (due.stage > Stage::kOverdue) continue;
      EXPECT_TRUE(open.insert(due.rule).second) << "seed " << seed << ": " << Text(due);
      EXPECT_FALSE(due.only_if_issued) << "seed " << seed << ": " << Text(due);
    }
  }
}

TEST(DueProperty, TimeChangesTheAnswerExactlyAtTheInstantsForetold) {
  std::size_t changes = 0;
  for (unsigned seed = 0; seed < 300; ++seed) {
    Random random(seed);
    const auto line = Derived(RandomLife(random));
    if (!line) continue;
    const auto at = [&line](Instant now) {
      return Compute(*line, CommonPractice(), London(), now);
    };
    Instant now = Hours(0).instant;
    auto dues = at(now);
    while (const auto next = NextChange(dues)) {
      ASSERT_GT(*next, now);
      const auto half_way = now + (*next - now) / 2;
      EXPECT_EQ(at(half_way), dues)
          << "seed " << seed << " changed before " << FormatInstant(*next);
      EXPECT_EQ(at(*next - std::chrono::milliseconds(1)), dues) << "seed " << seed;
      now = *next;
      auto later = at(now);
      EXPECT_NE(later, dues) << "seed " << seed << " did not change at " << FormatInstant(now);
      dues = std::move(later);
      ++changes;
    }
    EXPECT_EQ(at(now + std::chrono::days(365)), dues)
        << "seed " << seed << ": nothing was foretold";
  }
  EXPECT_GT(changes, 300U);
}

}  // namespace
}  // namespace dwell::due
