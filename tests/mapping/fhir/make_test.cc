// What Make() promises: nothing twice, nothing forgotten.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <map>
#include <regex>
#include <set>

#include "tests/mapping/fhir/world.h"

namespace dwell::test {
namespace {

using fhir::Issued;
using fhir::Made;

constexpr const char* kPlaced =
    R"("outcome":"placed","line":{"kind":"peripheral-cannula"},"site":{"place":"hand","side":"left"})";
constexpr const char* kHealthy = R"("signs":{"pain":"absent"})";

std::vector<std::string> Types(const Made& made) {
  std::vector<std::string> types;
  for (const auto& resource : made.resources) types.push_back(resource.type);
  return types;
}

TEST(Make, WhatDidNotChangeIsNotMadeAgain) {
  Life life(ContextOf());
  life.Receive(Told("insertion", "E-1", "2026-03-27T14:10:00Z", kPlaced));
  const auto issued = life.issued();
  const Made again = life.Wait(At("2026-03-27T14:13:00Z"));
  EXPECT_THAT(again.resources, testing::IsEmpty());
  EXPECT_EQ(again.issued, issued);
}

TEST(Make, ACheckBringsItsObservationAndTheTasksItMovesAndNothingElse) {
  Life life(ContextOf());
  life.Receive(Told("insertion", "E-1", "2026-03-27T14:10:00Z", kPlaced));
  const Made made = life.Receive(Told("site-check", "E-2", "2026-03-27T21:58:00Z", kHealthy));
  EXPECT_THAT(Types(made), testing::ElementsAre("Observation", "Task", "Task", "Provenance"));
}

TEST(Make, TheSameInputsGiveTheSameBytes) {
  const auto play = [] {
    Life life(ContextOf());
    life.Receive(Told("insertion", "E-1", "2026-03-27T14:10:00Z", kPlaced));
    return fhir::TransactionBundle(
        life.Receive(Told("removal", "E-2", "2026-03-28T10:00:00Z", R"("reason":"phlebitis")"))
            .resources);
  };
  EXPECT_EQ(play(), play());
}

TEST(Make, VersionsCountHowOftenAResourceWasIssued) {
  Life life(ContextOf());
  life.Receive(Told("insertion", "E-1", "2026-03-27T14:10:00Z", kPlaced));
  life.Receive(Told("removal", "E-2", "2026-03-28T10:00:00Z", R"("reason":"phlebitis")"));
  const auto device = std::ranges::find(life.issued(), "Device", &Issued::type);
  ASSERT_NE(device, life.issued().end());
  EXPECT_EQ(device->version, 2U);
}

TEST(Make, ALateInsertionGivesEarlierChecksTheirLink) {
  Life life(ContextOf());
  const Made lone = life.Receive(Told("site-check", "E-2", "2026-03-27T21:58:00Z", kHealthy));
  EXPECT_THAT(lone.resources[0].json, testing::Not(testing::HasSubstr("\"focus\"")));
  const Made late = life.Receive(Told("insertion", "E-1", "2026-03-27T14:10:00Z", kPlaced),
                                 At("2026-03-28T00:00:00Z"));
  const auto check = std::ranges::find_if(
      late.resources, [&](const auto& resource) { return resource.id == lone.resources[0].id; });
  ASSERT_NE(check, late.resources.end());
  EXPECT_THAT(check->json, testing::HasSubstr("\"focus\":[{\"reference\":\"Device/"));
}

TEST(Make, ARetractionTakesBackEverythingThatCameFromTheEvent) {
  Life life(ContextOf());
  const Made first = life.Receive(Told("insertion", "E-1", "2026-03-27T14:10:00Z", kPlaced));
  const Made taken = life.Receive(Told("retraction", "E-9", "2026-03-27T15:00:00Z",
                                       R"("retracts":"E-1","reason":"wrong-line")"));
  const auto statuses = Statuses(taken);
  for (const auto& resource : first.resources) {
    if (resource.type == "Provenance") continue;
    const auto found = statuses.find(resource.type + "/" + resource.id);
    ASSERT_NE(found, statuses.end()) << resource.type;
    EXPECT_EQ(found->second, "entered-in-error") << resource.type;
  }
  EXPECT_EQ(taken.resources.size(), first.resources.size());
}

TEST(Make, ACorrectionKeepsTheIdAndSaysSo) {
  Life life(ContextOf());
  life.Receive(Told("insertion", "E-1", "2026-03-27T14:10:00Z", kPlaced));
  const Made first = life.Receive(Told("site-check", "E-2", "2026-03-27T21:58:00Z", kHealthy));
  const Made second = life.Receive(Told("site-check", "E-3", "2026-03-27T21:58:00Z",
                                        R"("replaces":"E-2","signs":{"pain":"present"})"));
  EXPECT_EQ(second.resources[0].id, first.resources[0].id);
  EXPECT_EQ(Statuses(second).at("Observation/" + first.resources[0].id), "corrected");
}

TEST(Make, AnotherCodeMapMakesEverythingAnew) {
  Life life(ContextOf(false));
  life.Receive(Told("insertion", "E-1", "2026-03-27T14:10:00Z", kPlaced));
  Life licensed(ContextOf(true));
  const Made made = licensed.Receive(Told("insertion", "E-1", "2026-03-27T14:10:00Z", kPlaced));
  for (std::size_t i = 0; i < made.issued.size(); ++i) {
    EXPECT_EQ(made.issued[i].id, life.issued()[i].id);
    EXPECT_NE(made.issued[i].fingerprint, life.issued()[i].fingerprint);
  }
}

TEST(Make, EveryReferenceLeadsToAResourceThatWasIssued) {
  Life life(ContextOf());
  std::string all;
  const auto add = [&all](const Made& made) {
    for (const auto& resource : made.resources) all += resource.json;
  };
  add(life.Receive(Told("insertion", "E-1", "2026-03-27T14:10:00Z", kPlaced)));
  add(life.Receive(
      Told("flush", "E-2", "2026-03-27T16:00:00Z", R"("flush":{"fluid":"sodium-chloride-0.9"})")));
  add(life.Receive(Told("removal", "E-3", "2026-03-28T10:00:00Z", R"("reason":"phlebitis")")));
  std::set<std::string> names;
  for (const Issued& issued : life.issued()) names.insert(issued.type + "/" + issued.id);
  const std::regex reference(R"re("reference":"([^"]+)")re");
  int seen = 0;
  for (std::sregex_iterator at(all.begin(), all.end(), reference), end; at != end; ++at, ++seen) {
    EXPECT_TRUE(names.contains((*at)[1])) << (*at)[1];
  }
  EXPECT_GT(seen, 20);
}

TEST(Make, ADwellTimeThatWasNeverToldIsNotMadeInError) {
  Life life(ContextOf());
  life.Receive(Told("insertion", "E-1", "2026-03-27T14:10:00Z", kPlaced));
  life.Receive(Told("retraction", "E-3", "2026-03-28T13:00:00Z",
                    R"("retracts":"E-2","reason":"wrong-line")"));
  const Made made =
      life.Receive(Told("removal", "E-2", "2026-03-28T12:00:00Z", R"("reason":"phlebitis")"),
                   At("2026-03-28T14:00:00Z"));
  for (const auto& resource : made.resources) {
    EXPECT_THAT(resource.json, testing::Not(testing::HasSubstr("/dwell-time\"")));
  }
}

TEST(Make, ATaskThatNoLongerFollowsIsTakenBackOnce) {
  Life life(ContextOf());
  life.Receive(Told("insertion", "E-1", "2026-03-27T14:10:00Z", kPlaced));
  const line::Key key{"ward-7b", "L-1"};
  const auto line = line::Derive(key, life.events(), std::chrono::hours(72));
  const Instant now = At("2026-03-27T15:00:00Z");
  const Made made = fhir::Make(*line, {}, ContextOf(), life.issued(), {nullptr, now, 2});
  EXPECT_THAT(Types(made), testing::ElementsAre("Task", "Task", "Task", "Provenance"));
  for (const auto& [name, status] : Statuses(made)) {
    if (name.starts_with("Task/")) {
      EXPECT_EQ(status, "entered-in-error");
    }
  }
  EXPECT_THAT(fhir::Make(*line, {}, ContextOf(), made.issued, {nullptr, now, 3}).resources,
              testing::IsEmpty());
}

}  // namespace
}  // namespace dwell::test
