// Dues kept up to date step by step, at every event and at every instant foretold, are those that
// follow from all events at once: for random policies, zones, lives and orders of arrival.
#include <gtest/gtest.h>

#include "tests/mapping/due/random_life.h"
#include "tests/mapping/due/sample_policy.h"

namespace dwell::due {
namespace {

using namespace samples;  // NOLINT: the words of this test
using std::chrono::hours;
using std::chrono::minutes;

Escalation RandomSteps(Random& random) {
  Escalation steps;
  minutes after(Below(random, 60));
  for (const Priority priority : {Priority::kUrgent, Priority::kAsap, Priority::kStat}) {
    if (Below(random, 2)) continue;
    steps.push_back({after, priority});
    after += minutes(1 + Below(random, 600));
  }
  return steps;
}

LineRules RandomRules(Random& random) {
  const auto maybe = [&random](int one_in) { return Below(random, one_in) == 0; };
  LineRules rules;
  if (!maybe(4)) rules.dwell_max = hours(1 + Below(random, 120));
  if (maybe(2)) rules.check_interval = minutes(1 + Below(random, 1000));
  for (int at = Below(random, 500); !rules.check_interval && at < 1440;
       at += 1 + Below(random, 700)) {
    rules.check_rounds.emplace_back(at);
  }
  if (maybe(2))
    rules.check_interval_by_patient_group = {{"child", minutes(1 + Below(random, 300))}};
  if (maybe(2)) rules.check_interval_by_infusion = {{"vesicant", minutes(1 + Below(random, 60))}};
  if (!maybe(3)) rules.dressing_max = {{"", hours(1 + Below(random, 200))}, {"gauze", hours(48)}};
  if (!maybe(3)) rules.remove_at_phlebitis_grade = 1 + Below(random, 3);
  if (maybe(2)) rules.remove_at_infiltration_grade = 1 + Below(random, 4);
  rules.remove_on_swelling_at_flush = maybe(2);
  rules.remove_on_trial_phlebitis = maybe(2);
  if (maybe(3)) rules.due_soon = minutes(Below(random, 200));
  if (maybe(3)) rules.grace = minutes(Below(random, 200));
  if (maybe(3)) rules.watch = hours(Below(random, 48));
  if (maybe(2)) rules.escalation = RandomSteps(random);
  return rules;
}

Policy RandomPolicy(Random& random) {
  Policy policy;
  policy.name = "random";
  policy.version = "1";
  policy.due_soon = minutes(Below(random, 120));
  policy.grace = minutes(Below(random, 120));
  policy.escalation = RandomSteps(random);
  policy.patient_groups = {"adult", "child"};
  policy.infusions = {"non-irritant", "vesicant"};
  policy.by_kind.emplace("peripheral-cannula", RandomRules(random));
  if (Below(random, 2)) policy.by_kind.emplace("midline", RandomRules(random));
  policy.by_ward["ward-hourly"].emplace("peripheral-cannula", RandomRules(random));
  policy.unknown_kind.remove_at_phlebitis_grade = 2;
  return policy;
}

/// What a daemon would hold: changed only when an event comes or a foretold instant has come.
class Keeper {
 public:
  Keeper(const Policy& policy, const Zone& zone, Instant now)
      : policy_(policy), zone_(zone), now_(now) {}

  void Receive(const event::Event& event) {
    auto attempt = events_;
    attempt.push_back(event);
    auto line = Derived(attempt);
    if (!line) return;  // a contradiction is not taken
    events_ = std::move(attempt);
    line_ = *std::move(line);
    dues_ = Compute(*line_, policy_, zone_, now_);
  }

  void WaitUntil(Instant until) {
    while (line_) {
      const auto next = NextChange(dues_);
      if (!next || *next > until) break;
      ASSERT_GT(*next, now_);
      now_ = *next;
      dues_ = Compute(*line_, policy_, zone_, now_);
      ++wakes_;
    }
    now_ = until;
  }

  const std::vector<event::Event>& events() const { return events_; }
  const std::vector<Due>& dues() const { return dues_; }
  Instant now() const { return now_; }
  std::size_t wakes() const { return wakes_; }

 private:
  const Policy& policy_;
  const Zone& zone_;
  Instant now_;
  std::vector<event::Event> events_;
  std::optional<line::Line> line_;
  std::vector<Due> dues_;
  std::size_t wakes_ = 0;
};

TEST(Incremental, DuesKeptStepByStepAreThoseOfTheWholeLifeAtOnce) {
  const char* const zones[] = {"Europe/London", "Australia/Lord_Howe", "Asia/Kathmandu",
                               "Pacific/Apia", "America/New_York"};
  std::size_t compared = 0;
  std::size_t wakes = 0;
  for (unsigned seed = 0; seed < 1500; ++seed) {
    Random random(seed);
    const Policy policy = RandomPolicy(random);
    const Zone zone = ZoneOf(zones[seed % std::size(zones)]);
    Keeper keeper(policy, zone, Hours(0).instant);
    const auto compare = [&] {
      if (keeper.events().empty()) return;
      auto all = keeper.events();
      std::shuffle(all.begin(), all.end(), random);
      const auto scratch = Compute(LineOf(all), policy, zone, keeper.now());
      ASSERT_EQ(Texts(keeper.dues()), Texts(scratch)) << "seed " << seed;
      ASSERT_EQ(keeper.dues(), scratch) << "seed " << seed;
      ++compared;
    };
    for (const event::Event& event : RandomLife(random)) {
      keeper.WaitUntil(keeper.now() + minutes(Below(random, 1200)));
      compare();
      keeper.Receive(event);
      compare();
    }
    for (int i = 0; i < 4; ++i) {
      keeper.WaitUntil(keeper.now() + minutes(Below(random, 6000)));
      compare();
    }
    wakes += keeper.wakes();
  }
  EXPECT_GT(compared, 20'000U);
  EXPECT_GT(wakes, 5'000U);
}

/// A life in the days around a change of the clocks in that zone: the sample's days, moved there.
TEST(Incremental, AcrossAChangeOfTheClocksToo) {
  const std::pair<const char*, const char*> changes[] = {
      {"Europe/London", "2026-03-28T10:00:00Z"},
      {"Europe/London", "2026-10-24T10:00:00Z"},
      {"Australia/Lord_Howe", "2026-04-04T00:00:00Z"},
      {"Pacific/Apia", "2011-12-29T10:00:00Z"},
      {"America/New_York", "2026-10-31T10:00:00Z"}};
  for (unsigned seed = 0; seed < 300; ++seed) {
    Random random(seed + 9000);
    const auto& [name, start] = changes[seed % std::size(changes)];
    const Zone zone = ZoneOf(name);
    const Policy policy = RandomPolicy(random);
    const auto moved = At(start).instant - Hours(0).instant;
    Keeper keeper(policy, zone, At(start).instant);
    for (event::Event event : RandomLife(random)) {
      event.happened.instant += moved;
      event.recorded_at.instant += moved;
      keeper.WaitUntil(keeper.now() + minutes(Below(random, 600)));
      keeper.Receive(event);
    }
    for (int i = 0; i < 20 && !keeper.events().empty(); ++i) {
      keeper.WaitUntil(keeper.now() + minutes(Below(random, 600)));
      ASSERT_EQ(keeper.dues(), Compute(LineOf(keeper.events()), policy, zone, keeper.now()))
          << "seed " << seed;
    }
  }
}

}  // namespace
}  // namespace dwell::due
