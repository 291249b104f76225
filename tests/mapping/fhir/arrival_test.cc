// What is out there in the end does not depend on the order in which the events came.
#include <gtest/gtest.h>

#include <algorithm>
#include <map>
#include <random>

#include "tests/mapping/fhir/world.h"

namespace dwell::test {
namespace {

using fhir::Issued;
using fhir::Made;

constexpr std::chrono::minutes kMinute{1};
constexpr const char* kPlaced =
    R"("outcome":"placed","line":{"kind":"peripheral-cannula"},"site":{"place":"hand","side":"left"})";
constexpr const char* kHealthy = R"("signs":{"pain":"absent"})";

/// Events of one line's life, with corrections and a retraction, as (kind, id, at, more).
std::vector<std::shared_ptr<const event::Event>> History() {
  return {
      Told("insertion", "E-1", "2026-03-27T14:10:00Z",
           R"("outcome":"placed","line":{"kind":"peripheral-cannula"},"site":{"place":"hand"},
              "attempts":[{"site":{"place":"wrist"},"reason":"vein-lost"}])"),
      Told("site-check", "E-2", "2026-03-27T21:58:00Z", kHealthy),
      Told("flush", "E-3", "2026-03-28T00:10:00Z",
           R"("flush":{"fluid":"sodium-chloride-0.9","swelling":"absent"})"),
      Told(
          "site-check", "E-4", "2026-03-28T06:05:00Z",
          R"("signs":{"pain":"present","erythema":"present"},"grade":{"scale":"visual-infusion-phlebitis","value":2})"),
      Told("site-check", "E-5", "2026-03-28T06:05:00Z",
           R"("replaces":"E-4","signs":{"pain":"absent"})"),
      Told("dressing-change", "E-6", "2026-03-28T09:00:00Z",
           R"("found":"loose","type":"transparent")"),
      Told("removal", "E-7", "2026-03-28T12:00:00Z",
           R"("reason":"no-longer-required","tip_complete":"yes")"),
      Told("retraction", "E-8", "2026-03-28T12:30:00Z",
           R"("retracts":"E-3","reason":"wrong-line")"),
  };
}

/// What the endpoint holds of a line in the end: what each resource last said.
struct Outcome {
  explicit Outcome(const Life& life) : scratch(life.FromScratch()), issued(life.issued()) {}
  Made scratch;
  std::vector<Issued> issued;
  std::map<std::string, std::string> statuses;
};

/// The events come in one after the other, an hour after the last of them. One that contradicts
/// those before it is refused and sent again after the others.
Outcome PlayOut(std::vector<std::shared_ptr<const event::Event>> events) {
  Life life(ContextOf());
  std::map<std::string, std::string> statuses;
  Instant now = At("2026-03-28T13:00:00Z");
  std::size_t refused = 0;  // one after the other
  for (std::size_t i = 0; i < events.size(); ++i) {
    auto all = life.events();
    all.push_back(events[i]);
    const bool legal =
        line::Derive({"ward-7b", "L-1"}, std::move(all), std::chrono::hours(72)).has_value();
    refused = legal ? 0 : refused + 1;
    if (refused > 6) {
      ADD_FAILURE() << events[i]->id << " is never taken";
      break;
    }
    if (legal) {
      for (auto& [name, status] : Statuses(life.Receive(events[i], now += kMinute))) {
        statuses[name] = status;
      }
    } else {
      auto again = events[i];
      events.push_back(std::move(again));
    }
  }
  Outcome outcome(life);
  outcome.statuses = std::move(statuses);
  return outcome;
}

/// Nothing is in force but what making once at the end gives, and that with the same content. A
/// Task that was told on the way and closed again may remain, closed.
void ExpectSameAsFromScratch(const Outcome& outcome) {
  const auto expected = Statuses(outcome.scratch);
  for (const auto& [name, status] : outcome.statuses) {
    if (expected.contains(name) || status == "entered-in-error" || status.empty()) continue;
    EXPECT_TRUE(name.starts_with("Task/") && (status == "cancelled" || status == "completed"))
        << name << " is " << status;
  }
  for (const Issued& one : outcome.scratch.issued) {
    const auto found = std::ranges::find_if(outcome.issued, [&](const Issued& other) {
      return other.type == one.type && other.id == one.id;
    });
    ASSERT_NE(found, outcome.issued.end()) << one.type << " " << one.id;
    EXPECT_EQ(found->fingerprint, one.fingerprint) << one.type << " " << one.id;
    const std::string name = one.type + "/" + one.id;
    EXPECT_EQ(outcome.statuses.at(name), expected.at(name)) << name;
  }
}

TEST(Arrival, StepByStepInAnyOrderLeavesTheSameAsMakingOnceAtTheEnd) {
  std::mt19937 random(20260327);
  for (int round = 0; round < 200; ++round) {
    auto events = History();
    std::shuffle(events.begin(), events.end(), random);
    ExpectSameAsFromScratch(PlayOut(events));
    if (testing::Test::HasFailure()) {
      for (const auto& event : events) ADD_FAILURE() << event->id;
      return;
    }
  }
}

struct Chain {
  const char* kind;
  const char* first;
  const char* second;
  const char* third;
};

/// Each version makes something the others do not, where the kind allows it.
constexpr Chain kChains[] = {
    {"insertion",
     R"("outcome":"placed","line":{"kind":"peripheral-cannula","gauge":20},"site":{"place":"hand"})",
     R"("outcome":"placed","line":{"kind":"peripheral-cannula","gauge":22},"site":{"place":"hand"},
        "flush":{"fluid":"sodium-chloride-0.9"})",
     R"("outcome":"placed","line":{"kind":"peripheral-cannula","gauge":18},"site":{"place":"hand"},
        "attempts":[{"site":{"place":"wrist"},"reason":"vein-lost"}])"},
    {"insertion",
     R"("outcome":"placed","line":{"kind":"peripheral-cannula"},"site":{"place":"hand"})",
     R"("outcome":"placed","line":{"kind":"peripheral-cannula"},"site":{"place":"wrist"})",
     R"("outcome":"declined","reason":"patient-declined")"},
    {"site-check", R"("signs":{"pain":"absent"})",
     R"("signs":{"pain":"present"},"flush":{"fluid":"sodium-chloride-0.9"})",
     R"("grade":{"scale":"visual-infusion-phlebitis","value":2})"},
    {"flush", R"("flush":{"fluid":"sodium-chloride-0.9"})",
     R"("flush":{"fluid":"sodium-chloride-0.9","swelling":"absent"})",
     R"("flush":{"fluid":"sodium-chloride-0.9","swelling":"present"})"},
    {"dressing-change", R"("type":"transparent")", R"("type":"transparent","found":"loose")",
     R"("type":"gauze")"},
    {"removal", R"("reason":"phlebitis")", R"("reason":"occlusion","tip_complete":"yes")",
     R"("reason":"no-longer-required")"},
};

/// The life around the chain of `chain`: an insertion, a check and a removal, where it is none.
std::vector<std::shared_ptr<const event::Event>> Around(const Chain& chain) {
  const std::string kind = chain.kind;
  const bool insertion = kind == "insertion";
  const char* at = insertion           ? "2026-03-27T14:10:00Z"
                   : kind == "removal" ? "2026-03-28T12:00:00Z"
                                       : "2026-03-28T00:10:00Z";
  const std::string third = chain.third;
  std::vector<std::shared_ptr<const event::Event>> events = {
      Told(kind, "A", at, chain.first),
      Told(kind, "B", at, R"("replaces":"A",)" + std::string(chain.second)),
      Told(kind, "C", at, R"("replaces":"B",)" + third),
      Told("site-check", "K", "2026-03-27T21:58:00Z", kHealthy)};
  if (!insertion) events.push_back(Told("insertion", "I", "2026-03-27T14:10:00Z", kPlaced));
  if (kind != "removal") {
    events.push_back(Told("removal", "R", "2026-03-28T12:00:00Z", R"("reason":"phlebitis")"));
  }
  return events;
}

TEST(Arrival, AChainOfCorrectionsLeavesTheSameInEveryOrderOfArrival) {
  int orders = 0;
  for (const Chain& chain : kChains) {
    auto events = Around(chain);
    std::ranges::sort(events, {}, [](const auto& event) { return event->id; });
    do {
      SCOPED_TRACE(chain.kind);
      ExpectSameAsFromScratch(PlayOut(events));
      if (testing::Test::HasFailure()) {
        for (const auto& event : events) ADD_FAILURE() << event->id;
        return;
      }
      ++orders;
    } while (std::ranges::next_permutation(events, {}, [](const auto& event) {
               return event->id;
             }).found);
  }
  EXPECT_EQ(orders, 2 * 120 + 3 * 720 + 120);
}

}  // namespace
}  // namespace dwell::test
