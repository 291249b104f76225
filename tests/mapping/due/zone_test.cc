// Rounds on the wall clock and limits in elapsed time, through gaps, overlaps and odd zones.
// UTC instants of the tables: recomputed from tz database 2026f with Python's zoneinfo.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <string>
#include <vector>

#include "tests/mapping/due/sample_policy.h"
#include "tests/support/zone_file.h"

namespace dwell::due {
namespace {

using namespace samples;  // NOLINT: the words of this test
using std::chrono::minutes;
using testing::ElementsAre;

const std::vector<minutes> kRounds = {minutes(6 * 60), minutes(14 * 60), minutes(22 * 60)};

std::vector<std::string> Rounds(const Zone& zone, const std::string& after, int count,
                                const std::vector<minutes>& rounds = kRounds) {
  std::vector<std::string> instants;
  Instant at = At(after).instant;
  for (int i = 0; i < count; ++i) {
    at = zone.NextRound(at, rounds);
    instants.push_back(FormatInstant(at));
  }
  return instants;
}

// The dwell limit is elapsed time: what the wall clock did in between does not matter.
TEST(Zone, RemovalFallsDueAfterElapsedHoursWhateverTheWallClockDid) {
  struct Row {
    const char* zone;
    const char* in;
    int hours;
    const char* due_utc;
    const char* due_local;  ///< null where the tz data of 2026 changed: it depends on the machine
  };
  const Row table[] = {
      {"Europe/London", "2026-03-27T10:00:00+00:00", 72, "2026-03-30T10:00:00Z",
       "2026-03-30T11:00:00+01:00"},
      {"Europe/London", "2026-03-26T02:30:00+00:00", 72, "2026-03-29T02:30:00Z",
       "2026-03-29T03:30:00+01:00"},
      {"Europe/London", "2026-03-26T01:30:00+00:00", 72, "2026-03-29T01:30:00Z",
       "2026-03-29T02:30:00+01:00"},
      {"Europe/London", "2026-03-28T23:30:00+00:00", 96, "2026-04-01T23:30:00Z",
       "2026-04-02T00:30:00+01:00"},
      {"Europe/London", "2026-03-29T00:59:00+00:00", 72, "2026-04-01T00:59:00Z",
       "2026-04-01T01:59:00+01:00"},
      {"Europe/London", "2026-03-29T02:00:00+01:00", 72, "2026-04-01T01:00:00Z",
       "2026-04-01T02:00:00+01:00"},
      {"Europe/London", "2026-10-23T10:00:00+01:00", 72, "2026-10-26T09:00:00Z",
       "2026-10-26T09:00:00+00:00"},
      {"Europe/London", "2026-10-22T01:30:00+01:00", 72, "2026-10-25T00:30:00Z",
       "2026-10-25T01:30:00+01:00"},
      {"Europe/London", "2026-10-25T01:30:00+01:00", 72, "2026-10-28T00:30:00Z",
       "2026-10-28T00:30:00+00:00"},
      {"Europe/London", "2026-10-25T01:30:00+00:00", 72, "2026-10-28T01:30:00Z",
       "2026-10-28T01:30:00+00:00"},
      {"Europe/London", "2026-10-25T00:30:00+01:00", 24, "2026-10-25T23:30:00Z",
       "2026-10-25T23:30:00+00:00"},
      {"Europe/London", "2027-03-26T10:00:00+00:00", 72, "2027-03-29T10:00:00Z",
       "2027-03-29T11:00:00+01:00"},
      {"Europe/London", "2027-03-27T22:15:00+00:00", 96, "2027-03-31T22:15:00Z",
       "2027-03-31T23:15:00+01:00"},
      {"Europe/London", "2027-10-29T10:00:00+01:00", 72, "2027-11-01T09:00:00Z",
       "2027-11-01T09:00:00+00:00"},
      {"Australia/Lord_Howe", "2026-04-03T10:00:00+11:00", 72, "2026-04-05T23:00:00Z",
       "2026-04-06T09:30:00+10:30"},
      {"Australia/Lord_Howe", "2026-10-02T10:00:00+10:30", 72, "2026-10-04T23:30:00Z",
       "2026-10-05T10:30:00+11:00"},
      {"Pacific/Chatham", "2026-09-25T10:00:00+12:45", 72, "2026-09-27T21:15:00Z",
       "2026-09-28T11:00:00+13:45"},
      {"Asia/Kathmandu", "2026-03-27T10:00:00+05:45", 72, "2026-03-30T04:15:00Z",
       "2026-03-30T10:00:00+05:45"},
      {"Africa/Casablanca", "2026-02-13T10:00:00+01:00", 72, "2026-02-16T09:00:00Z",
       "2026-02-16T09:00:00+00:00"},
      {"Africa/Casablanca", "2026-03-20T10:00:00+00:00", 72, "2026-03-23T10:00:00Z",
       "2026-03-23T11:00:00+01:00"},
      {"Africa/Casablanca", "2026-09-18T10:00:00+01:00", 72, "2026-09-21T09:00:00Z", nullptr},
      {"Pacific/Apia", "2011-12-28T10:00:00-10:00", 72, "2011-12-31T20:00:00Z",
       "2012-01-01T10:00:00+14:00"},
      {"America/New_York", "2026-10-30T10:00:00-04:00", 72, "2026-11-02T14:00:00Z",
       "2026-11-02T09:00:00-05:00"},
      {"America/Vancouver", "2026-10-30T10:00:00-07:00", 72, "2026-11-02T17:00:00Z", nullptr},
  };
  for (const Row& row : table) {
    const Zone zone = ZoneOf(row.zone);
    Policy policy = CommonPractice();
    policy.by_kind["peripheral-cannula"].dwell_max = std::chrono::hours(row.hours);
    const auto dues = Only(Rule::kRemoval, Compute(LineOf({Insertion("i", At(row.in))}), policy,
                                                   zone, At(row.in).instant));
    ASSERT_EQ(dues.size(), 1U);
    EXPECT_EQ(FormatInstant(dues[0].due_at), row.due_utc) << row.zone << " " << row.in;
    if (row.due_local != nullptr) {
      EXPECT_EQ(zone.Format(dues[0].due_at), row.due_local) << row.zone << " " << row.in;
    }
  }
}

// The same lives by the wall clock: a round at the time of day of the insertion, so many days on.
// Casablanca in September and Vancouver are left out: their tz data changed in 2026.
TEST(Zone, TheSameTimeOfDayIsAnotherInstantThanElapsedHoursAcrossAChange) {
  struct Row {
    const char* zone;
    const char* in;
    int days;
    const char* same_wall_utc;
  };
  const Row table[] = {
      {"Europe/London", "2026-03-27T10:00:00+00:00", 3, "2026-03-30T09:00:00Z"},
      {"Europe/London", "2026-03-26T02:30:00+00:00", 3, "2026-03-29T01:30:00Z"},
      {"Europe/London", "2026-03-26T01:30:00+00:00", 3, "2026-03-29T01:00:00Z"},  // a gap: its end
      {"Europe/London", "2026-03-28T23:30:00+00:00", 4, "2026-04-01T22:30:00Z"},
      {"Europe/London", "2026-03-29T00:59:00+00:00", 3, "2026-03-31T23:59:00Z"},
      {"Europe/London", "2026-03-29T02:00:00+01:00", 3, "2026-04-01T01:00:00Z"},
      {"Europe/London", "2026-10-23T10:00:00+01:00", 3, "2026-10-26T10:00:00Z"},
      {"Europe/London", "2026-10-22T01:30:00+01:00", 3, "2026-10-25T00:30:00Z"},
      {"Europe/London", "2026-10-25T01:30:00+01:00", 3, "2026-10-28T01:30:00Z"},
      {"Europe/London", "2026-10-25T01:30:00+00:00", 3, "2026-10-28T01:30:00Z"},
      {"Europe/London", "2026-10-25T00:30:00+01:00", 1, "2026-10-26T00:30:00Z"},
      {"Europe/London", "2027-03-26T10:00:00+00:00", 3, "2027-03-29T09:00:00Z"},
      {"Europe/London", "2027-03-27T22:15:00+00:00", 4, "2027-03-31T21:15:00Z"},
      {"Europe/London", "2027-10-29T10:00:00+01:00", 3, "2027-11-01T10:00:00Z"},
      {"Australia/Lord_Howe", "2026-04-03T10:00:00+11:00", 3, "2026-04-05T23:30:00Z"},
      {"Australia/Lord_Howe", "2026-10-02T10:00:00+10:30", 3, "2026-10-04T23:00:00Z"},
      {"Pacific/Chatham", "2026-09-25T10:00:00+12:45", 3, "2026-09-27T20:15:00Z"},
      {"Asia/Kathmandu", "2026-03-27T10:00:00+05:45", 3, "2026-03-30T04:15:00Z"},
      {"Africa/Casablanca", "2026-02-13T10:00:00+01:00", 3, "2026-02-16T10:00:00Z"},
      {"Africa/Casablanca", "2026-03-20T10:00:00+00:00", 3, "2026-03-23T09:00:00Z"},
      {"Pacific/Apia", "2011-12-28T10:00:00-10:00", 3, "2011-12-30T20:00:00Z"},
      {"America/New_York", "2026-10-30T10:00:00-04:00", 3, "2026-11-02T15:00:00Z"},
  };
  for (const Row& row : table) {
    const std::string in = row.in;
    const std::vector<minutes> round = {
        minutes(std::stoi(in.substr(11, 2)) * 60 + std::stoi(in.substr(14, 2)))};
    EXPECT_EQ(Rounds(ZoneOf(row.zone), in, row.days, round).back(), row.same_wall_utc)
        << row.zone << " " << in;
  }
}

TEST(Zone, RoundsInLondonFollowTheWallClockThroughBothChanges) {
  const std::pair<const char*, std::vector<std::string>> table[] = {
      {"2026-03-28T00:00:00Z",
       {"2026-03-28T06:00:00Z", "2026-03-28T14:00:00Z", "2026-03-28T22:00:00Z",
        "2026-03-29T05:00:00Z", "2026-03-29T13:00:00Z", "2026-03-29T21:00:00Z",
        "2026-03-30T05:00:00Z", "2026-03-30T13:00:00Z", "2026-03-30T21:00:00Z"}},
      {"2026-10-23T23:00:00Z",
       {"2026-10-24T05:00:00Z", "2026-10-24T13:00:00Z", "2026-10-24T21:00:00Z",
        "2026-10-25T06:00:00Z", "2026-10-25T14:00:00Z", "2026-10-25T22:00:00Z",
        "2026-10-26T06:00:00Z", "2026-10-26T14:00:00Z", "2026-10-26T22:00:00Z"}},
      {"2027-03-27T22:00:00Z",
       {"2027-03-28T05:00:00Z", "2027-03-28T13:00:00Z", "2027-03-28T21:00:00Z"}},
      {"2027-10-30T21:00:00Z",
       {"2027-10-31T06:00:00Z", "2027-10-31T14:00:00Z", "2027-10-31T22:00:00Z"}},
  };
  for (const auto& [after, instants] : table) {
    EXPECT_EQ(Rounds(London(), after, static_cast<int>(instants.size())), instants) << after;
  }
}

TEST(Zone, ARoundThatDoesNotExistIsTakenAtTheFirstInstantAfterTheGap) {
  EXPECT_THAT(Rounds(London(), "2026-03-28T12:00:00Z", 2, {minutes(90)}),
              ElementsAre("2026-03-29T01:00:00Z", "2026-03-30T00:30:00Z"));
  EXPECT_THAT(Rounds(London(), "2026-03-28T12:00:00Z", 2, {minutes(70), minutes(90)}),
              ElementsAre("2026-03-29T01:00:00Z", "2026-03-30T00:10:00Z"))
      << "two rounds in one gap are one";
  EXPECT_THAT(Rounds(ZoneOf("Pacific/Apia"), "2011-12-30T08:30:00Z", 2),
              ElementsAre("2011-12-30T10:00:00Z", "2011-12-30T16:00:00Z"))
      << "30 December 2011 did not happen in Apia; its rounds are taken as the 31st begins";
}

TEST(Zone, ARoundThatHappensTwiceIsTakenTheFirstTime) {
  EXPECT_THAT(Rounds(London(), "2026-10-24T12:00:00Z", 2, {minutes(90)}),
              ElementsAre("2026-10-25T00:30:00Z", "2026-10-26T01:30:00Z"));
  EXPECT_THAT(Rounds(London(), "2026-10-25T00:30:00Z", 1, {minutes(90)}),
              ElementsAre("2026-10-26T01:30:00Z"));
}

TEST(Zone, ARoundIsStrictlyAfter) {
  EXPECT_THAT(Rounds(London(), "2026-02-02T05:59:59.999Z", 1), ElementsAre("2026-02-02T06:00:00Z"));
  EXPECT_THAT(Rounds(London(), "2026-02-02T06:00:00Z", 1), ElementsAre("2026-02-02T14:00:00Z"));
  EXPECT_THAT(Rounds(London(), "2026-02-02T06:00:00.001Z", 1), ElementsAre("2026-02-02T14:00:00Z"));
}

/// What the wall clock shows, as if it were UTC.
Instant Wall(const Zone& zone, Instant instant) {
  return At(zone.Format(instant).substr(0, 19) + "Z").instant;
}

/// The first round after `after`, found by watching the wall clock minute by minute.
Instant WatchedRound(const Zone& zone, Instant after, const std::vector<minutes>& rounds) {
  const auto is_round = [&rounds](Instant wall) {
    const auto day = std::chrono::floor<std::chrono::days>(wall);
    return std::find(rounds.begin(), rounds.end(), wall - day) != rounds.end();
  };
  Instant shown_max = Wall(zone, after - std::chrono::hours(4));
  for (Instant at = after - std::chrono::hours(4) + minutes(1);; at += minutes(1)) {
    const Instant wall = Wall(zone, at);
    bool hit = false;
    for (Instant passed = shown_max + minutes(1); passed <= wall; passed += minutes(1)) {
      hit |= is_round(passed);
    }
    shown_max = std::max(shown_max, wall);
    if (hit && at > after) return at;
  }
}

TEST(Zone, NextRoundIsWhatAWatcherOfTheWallClockSees) {
  const std::pair<const char*, const char*> changes[] = {
      {"Europe/London", "2026-03-29T01:00:00Z"},
      {"Europe/London", "2026-10-25T01:00:00Z"},
      {"Australia/Lord_Howe", "2026-04-04T15:00:00Z"},
      {"Australia/Lord_Howe", "2026-10-03T15:30:00Z"},
      {"Pacific/Apia", "2011-12-30T10:00:00Z"},
      {"Asia/Kathmandu", "2026-03-29T01:00:00Z"},
      {"Pacific/Chatham", "2026-04-04T14:00:00Z"},
      {"America/Havana", "2020-11-01T05:00:00Z"},
  };
  // Midnight and the small hours, where clocks are changed.
  const std::vector<minutes> rounds = {minutes(0),   minutes(75),  minutes(105),
                                       minutes(130), minutes(165), minutes(23 * 60 + 30)};
  for (const auto& [name, change] : changes) {
    const Zone zone = ZoneOf(name);
    const Instant at = At(change).instant;
    for (Instant after = at - std::chrono::hours(3); after < at + std::chrono::hours(3);
         after += minutes(15)) {
      ASSERT_EQ(FormatInstant(zone.NextRound(after, rounds)),
                FormatInstant(WatchedRound(zone, after, rounds)))
          << name << " after " << FormatInstant(after);
    }
  }
}

TEST(Zone, AnUnknownNameIsRefusedWithAdvice) {
  for (const char* name : {"", "Europe/Atlantis", "localtime", "London"}) {
    const auto zone = Zone::Load(name);
    ASSERT_FALSE(zone.has_value()) << name;
    EXPECT_EQ(zone.error().kind(), ErrorKind::kConfig);
  }
  EXPECT_EQ(London().name(), "Europe/London");
}

TEST(Zone, TheSameNameMeansOtherRulesOnceItsFileSaysSo) {
  const Instant noon = At("2026-03-02T12:00:00+00:00").instant;
  const std::string before = test::ZoneFile(0, noon - std::chrono::hours(24), 0);
  const std::string after = test::ZoneFile(0, noon, 2);
  const auto old_rules = Zone::Read("Europe/Fernhill", before);
  const auto new_rules = Zone::Read("Europe/Fernhill", after);
  ASSERT_TRUE(old_rules.has_value());
  ASSERT_TRUE(new_rules.has_value());
  EXPECT_EQ(new_rules->name(), "Europe/Fernhill");
  EXPECT_EQ(FormatInstant(old_rules->NextRound(noon, kRounds)), "2026-03-02T14:00:00Z");
  EXPECT_EQ(FormatInstant(new_rules->NextRound(noon, kRounds)), "2026-03-02T20:00:00Z")
      << "the clock jumps to 14:00 at noon, and that is no later moment";
  EXPECT_EQ(new_rules->Format(noon), "2026-03-02T14:00:00+02:00");
  EXPECT_NE(old_rules->Fingerprint(), new_rules->Fingerprint());
}

TEST(Zone, TheFingerprintIsOfTheRulesNotOfTheirFileOrName) {
  const Instant noon = At("2026-03-02T12:00:00+00:00").instant;
  const auto plain = Zone::Read("Europe/Fernhill", test::ZoneFile(0, noon, 0));
  const auto other = Zone::Read("Europe/Alder", test::ZoneFile(0, noon + minutes(1), 0));
  EXPECT_EQ(plain->Fingerprint(), other->Fingerprint()) << "a change to the same changes nothing";
  const auto one = Zone::Read("Europe/Fernhill", test::ZoneFile(0, noon, 1));
  const auto later = Zone::Read("Europe/Fernhill", test::ZoneFile(0, noon + minutes(1), 1));
  EXPECT_NE(one->Fingerprint(), later->Fingerprint());
  EXPECT_EQ(London().Fingerprint(), ZoneOf("GB").Fingerprint()) << "an alias of the tz database";
  EXPECT_NE(London().Fingerprint(), ZoneOf("Europe/Paris").Fingerprint());
}

TEST(Zone, AFileThatIsNoneIsRefused) {
  for (const char* bytes : {"", "TZif2", "name = \"London\""}) {
    EXPECT_FALSE(Zone::Read("Europe/Fernhill", bytes).has_value()) << bytes;
  }
  EXPECT_FALSE(Zone::Read("", test::ZoneFile(0, Instant{}, 1)).has_value());
}

}  // namespace
}  // namespace dwell::due
