// Patients and encounters looked up before sending, against the practice endpoint over a socket.
// Hazard: a resource at the wrong patient; a lane that waits and holds up others; a merge unseen.
#include "mapping/fhir/references.h"
#include "tests/daemon/delivery/delivery_fixture.h"

namespace dwell::delivery {
namespace {

using std::chrono::hours;
using testing::HasSubstr;
using testing::Not;

constexpr const char* kNumbers = "https://fhir.nhs.uk/Id/nhs-number";
constexpr const char* kVisits = "urn:visits";

std::string Reference(const char* element, const char* type, const char* system,
                      const std::string& value) {
  schemas::JsonWriter json;
  fhir::WriteKnownReference(json, type, system, value, fhir::ReferenceForm::kConditional);
  return std::string(",\"") + element + "\":" + json.Take();
}

class ResolveTest : public DeliveryTest {
 protected:
  ResolveTest() {
    target_.look_ups.patients = true;
    target_.look_ups.cached_for = hours(12);
  }

  void Ask(const char* method, const std::string& path, const std::string& body = "") {
    practice::HttpRequest request;
    const std::string target = "/fhir/" + path;
    request.method = method;
    request.target = target;
    request.body = body;
    request.content_type = "application/fhir+json";
    EXPECT_EQ(endpoint_->desk().Answer(request).status / 100, 2) << target;
  }

  /// The endpoint comes to know it.
  void Know(const char* type, const std::string& id, const char* system, const std::string& value,
            const std::string& more = "") {
    Ask("PUT", std::string(type) + "/" + id,
        std::string(R"({"resourceType":")") + type + R"(","id":")" + id + R"(","gender":"other",)" +
            R"("identifier":[{"system":")" + system + R"(","value":")" + value + R"("}])" + more +
            "}");
  }
  void KnowPatient(const std::string& id, const std::string& number, const std::string& more = "") {
    Know("Patient", id, kNumbers, number, more);
  }

  /// Bundle `number` of the lane, about that patient.
  void QueueFor(int lane, int number, const std::string& patient, const std::string& more = "") {
    const std::string subject = Reference("subject", "Patient", kNumbers, patient);
    OnStore(
        [&](store::Store& store) { Add(store, lane, {BundleText(lane, number, subject + more)}); });
    if (delivery_) delivery_->Wake();
  }

  /// The row of the lane in the queue once it says so.
  store::QueueRow UntilLaneSays(int lane, const std::string& words) {
    store::QueueRow found;
    Until([&] {
      for (const store::QueueRow& row : Waiting()) {
        if (row.line_id != "lane-" + std::to_string(lane)) continue;
        if (row.why.find(words) == std::string::npos) continue;
        found = row;
        return true;
      }
      return false;
    });
    return found;
  }

  std::string Observations() { return endpoint_->desk().Dump("Observation"); }
};

TEST_F(ResolveTest, OneMatchGoesOutAsTheEndpointsIdWithTheIdentifierBesideIt) {
  KnowPatient("p-1", "9990000018");
  KnowPatient("p-2", "9990000026");
  StartDelivery();
  QueueFor(0, 0, "9990000018");
  UntilCompleted(1);
  EXPECT_THAT(Observations(), HasSubstr(R"("subject":{"reference":"Patient/p-1","type":"Patient",)"
                                        R"("identifier":{"system":"https://fhir.nhs.uk/Id/nhs-)"
                                        R"(number","value":"9990000018"}})"));
  EXPECT_THAT(commits_.back(), Not(HasSubstr("?identifier=")));
}

TEST_F(ResolveTest, BundlesOfOnePatientShareOneLookUp) {
  Manners slow;
  slow.latency_ms = 1;
  endpoint_->desk().SetManners(slow);
  KnowPatient("p-1", "9990000018");
  for (int lane = 0; lane < 20; ++lane) {
    for (int number = 0; number < 3; ++number) QueueFor(lane, number, "9990000018");
  }
  StartDelivery();
  UntilCompleted(60);
  EXPECT_EQ(Seen().searches, 1U);
  EXPECT_EQ(Seen().transactions, 60U);
  ExpectInOrder();
}

TEST_F(ResolveTest, ALookUpInFlightIsSharedAlsoWhenNothingIsRemembered) {
  target_.look_ups.cached_for = hours(0);
  Manners slow;
  slow.latency_ms = 5;  // the answer takes its way: all others have asked by then
  endpoint_->desk().SetManners(slow);
  KnowPatient("p-1", "9990000018");
  for (int lane = 0; lane < 10; ++lane) QueueFor(lane, 0, "9990000018");
  StartDelivery();
  UntilCompleted(10);
  EXPECT_EQ(Seen().searches, 1U);
  QueueFor(0, 1, "9990000018");
  UntilCompleted(11);
  EXPECT_EQ(Seen().searches, 2U);
}

TEST_F(ResolveTest, WhatIsNotLookedUpGoesOutAsItWasFrozen) {
  target_.look_ups.patients = false;
  StartDelivery();
  QueueFor(0, 0, "9990000018");
  UntilCompleted(1);
  EXPECT_EQ(Seen().searches, 0U);
  EXPECT_THAT(commits_.back(), HasSubstr(R"("reference":"Patient?identifier=https%3A%2F%2F)"));
}

TEST_F(ResolveTest, SomebodyUnknownMakesHisLaneWaitAndNobodyElses) {
  KnowPatient("p-2", "9990000026");
  StartDelivery();
  QueueFor(0, 0, "9990000018");
  QueueFor(0, 1, "9990000018");
  for (int lane = 1; lane < 6; ++lane) QueueFor(lane, 0, "9990000026");
  UntilCompleted(5);
  const store::QueueRow row = UntilLaneSays(0, "knows none of that identifier yet");
  EXPECT_NE(row.state, DeliveryState::kOnHold);
  EXPECT_EQ(row.attempts, 0U) << "the endpoint saw nothing of it";
  EXPECT_FALSE(row.uncertain);
  Until([&] { return Seen().searches >= 6; });  // it goes on looking
  EXPECT_EQ(Seen().transactions, 5U);
  EXPECT_EQ(Stored().on_hold, 0U);
  KnowPatient("p-1", "9990000018");
  UntilCompleted(7);
  ExpectInOrder();
  EXPECT_THAT(commits_.back(), HasSubstr("Patient/p-1"));
}

TEST_F(ResolveTest, WhatMayBeTheWrongPatientIsHeldAndNothingIsSent) {
  KnowPatient("twin-1", "9990000018");
  KnowPatient("twin-2", "9990000018");
  KnowPatient("merged", "9990000026", R"(,"link":[{"type":"replaced-by"}])");
  KnowPatient("inactive", "9990000034", R"(,"active":false)");
  StartDelivery();
  QueueFor(0, 0, "9990000018");
  QueueFor(1, 0, "9990000026");
  QueueFor(2, 0, "9990000034");
  for (const auto& [lane, words] : std::vector<std::pair<int, const char*>>{
           {0, "more than one"}, {1, "merged"}, {2, "no longer active"}}) {
    const store::QueueRow row = UntilLaneSays(lane, words);
    EXPECT_EQ(row.state, DeliveryState::kOnHold) << words;
    EXPECT_FALSE(row.uncertain) << words;
  }
  EXPECT_EQ(Seen().transactions, 0U);
}

class SearchingTest : public ResolveTest,
                      public testing::WithParamInterface<practice::Searching> {};

TEST_P(SearchingTest, AnEndpointThatDoesNotSearchAsAskedIsHeldAndNothingIsSent) {
  Manners manners;
  manners.searching = GetParam();
  endpoint_->desk().SetManners(manners);
  KnowPatient("somebody-else", "9990000026");
  if (GetParam() == practice::Searching::kMiscounts) KnowPatient("p-1", "9990000018");
  StartDelivery();
  QueueFor(0, 0, "9990000018");
  const bool ignores = GetParam() == practice::Searching::kIgnores;
  const store::QueueRow row = UntilLaneSays(0, ignores ? "ignored the search" : "more than one");
  EXPECT_EQ(row.state, DeliveryState::kOnHold);
  EXPECT_EQ(Seen().transactions, 0U);
}

INSTANTIATE_TEST_SUITE_P(Ways, SearchingTest,
                         testing::Values(practice::Searching::kIgnores,
                                         practice::Searching::kMiscounts));

class LookUpMoodTest : public ResolveTest, public testing::WithParamInterface<Mood::Kind> {};

TEST_P(LookUpMoodTest, ALookUpThatFailsIsRepeatedAndNothingIsUncertain) {
  target_.attempt_time_max = milliseconds(200);
  KnowPatient("p-1", "9990000018");
  Mood mood;
  mood.kind = GetParam();
  mood.status = 500;
  mood.next = 2;
  mood.containing = "Patient?identifier";
  SetMood(mood);
  by_hand_ = true;  // so that it can be looked at between the failures
  StartDelivery();
  QueueFor(0, 0, "9990000018");
  for (std::uint64_t failures = 1; failures <= 2; ++failures) {
    Until([&] { return delivery_->progress().again >= failures; });
    Until([&] { return Stored().ready == 1; });
    EXPECT_FALSE(Waiting()[0].uncertain);
    clock_.Turn(seconds(1));
    delivery_->Wake();
  }
  UntilCompleted(1);
  EXPECT_EQ(Seen().transactions, 1U);
  EXPECT_EQ(Seen().repeats, 0U);
}

INSTANTIATE_TEST_SUITE_P(Moods, LookUpMoodTest,
                         testing::Values(Mood::Kind::kResetBefore, Mood::Kind::kResetAfterCommit,
                                         Mood::Kind::kStall, Mood::Kind::kGarbage,
                                         Mood::Kind::kHtml200, Mood::Kind::kEmpty200,
                                         Mood::Kind::kTruncate, Mood::Kind::kStatus));

TEST_F(ResolveTest, AMergeIsSeenWhenTheEndpointNoLongerTakesTheId) {
  Manners strict;
  strict.referential = true;
  endpoint_->desk().SetManners(strict);
  KnowPatient("old", "9990000018");
  StartDelivery();
  QueueFor(0, 0, "9990000018");
  UntilCompleted(1);
  Ask("DELETE", "Patient/old");
  KnowPatient("new", "9990000018");
  QueueFor(0, 1, "9990000018");
  UntilCompleted(2);
  EXPECT_THAT(commits_.back(), HasSubstr("Patient/new"));
  EXPECT_EQ(Seen().searches, 2U);
}

TEST_F(ResolveTest, ARefusalOfARememberedIdIsTriedOnceMoreLookedUpAnew) {
  KnowPatient("p-1", "9990000018");
  StartDelivery();
  QueueFor(0, 0, "9990000018");
  UntilCompleted(1);
  Mood mood;
  mood.kind = Mood::Kind::kRefuse;
  mood.next = 1;
  mood.containing = "lotNumber";
  SetMood(mood);
  QueueFor(0, 1, "9990000018");
  UntilCompleted(2);
  EXPECT_EQ(Seen().searches, 2U);
  mood.next = -1;
  SetMood(mood);
  QueueFor(0, 2, "9990000018");
  const store::QueueRow row = UntilLaneSays(0, "refused it");
  Until([&] { return Stored().on_hold == 1; });
  EXPECT_EQ(Seen().searches, 3U);
  EXPECT_EQ(Waiting()[0].attempts, 2U);
  EXPECT_FALSE(row.uncertain);
}

TEST_F(ResolveTest, WhatIsRememberedIsForgottenAfterItsTime) {
  by_hand_ = true;
  KnowPatient("p-1", "9990000018");
  StartDelivery();
  const std::vector<std::pair<int, std::uint64_t>> rows = {{0, 1}, {11, 1}, {1, 2}, {11, 2}};
  int number = 0;
  for (const auto& [turned_h, searches] : rows) {
    clock_.Turn(hours(turned_h));
    QueueFor(0, number, "9990000018");
    UntilCompleted(static_cast<std::uint64_t>(++number));
    EXPECT_EQ(Seen().searches, searches) << "after " << turned_h << " h more";
  }
}

TEST_F(ResolveTest, AnEncounterIsLookedUpToo) {
  target_.look_ups.encounters = true;
  KnowPatient("p-1", "9990000018");
  KnowPatient("p-2", "9990000026");
  Know("Encounter", "e-1", kVisits, "1", R"(,"subject":{"reference":"Patient/p-1"})");
  Know("Encounter", "e-2", kVisits, "2", R"(,"subject":{"reference":"Patient/p-2"})");
  StartDelivery();
  QueueFor(0, 0, "9990000018", Reference("encounter", "Encounter", kVisits, "1"));
  UntilCompleted(1);
  EXPECT_THAT(Observations(), HasSubstr(R"("encounter":{"reference":"Encounter/e-1")"));
  QueueFor(1, 0, "9990000018", Reference("encounter", "Encounter", kVisits, "2"));
  EXPECT_EQ(UntilLaneSays(1, "belongs to another patient").state, DeliveryState::kOnHold);
  QueueFor(2, 0, "9990000018", Reference("encounter", "Encounter", kVisits, "3"));
  EXPECT_NE(UntilLaneSays(2, "the search for the Encounter").state, DeliveryState::kOnHold);
  EXPECT_EQ(Seen().transactions, 1U);
}

TEST_F(ResolveTest, ARepeatAfterALostAnswerWritesTheSameResourcesAlsoUnderANewId) {
  by_hand_ = true;
  target_.look_ups.cached_for = hours(0);
  KnowPatient("old", "9990000018");
  Mood mood;
  mood.kind = Mood::Kind::kResetAfterCommit;
  mood.next = 1;
  mood.containing = "lotNumber";
  SetMood(mood);
  StartDelivery();
  QueueFor(0, 0, "9990000018");
  Until([&] { return Waiting().size() == 1 && Waiting()[0].uncertain; });
  Ask("DELETE", "Patient/old");
  KnowPatient("new", "9990000018");
  clock_.Turn(seconds(1));
  delivery_->Wake();
  UntilCompleted(1);
  EXPECT_EQ(endpoint_->desk().VersionOf("Observation/lane-0-n0"), 2U);
  EXPECT_THAT(Observations(), HasSubstr("Patient/new"));
  EXPECT_THAT(Observations(), Not(HasSubstr("Patient/old")));
}

TEST_F(ResolveTest, AStopDuringALookUpSendsNothing) {
  KnowPatient("p-1", "9990000018");
  SetMood(Mood::Kind::kStall, 1);
  for (int lane = 0; lane < 4; ++lane) QueueFor(lane, 0, "9990000018");
  StartDelivery();
  Until([&] { return Seen().in_flight_max == 1; });
  delivery_->Stop(milliseconds(1));
  EXPECT_EQ(Stored().ready, 4U);
  for (const auto& row : Waiting()) EXPECT_FALSE(row.uncertain);
  EXPECT_EQ(Seen().transactions, 0U);
}

TEST_F(ResolveTest, ANewTokenServesTheLookUpToo) {
  KnowPatient("p-1", "9990000018");
  endpoint_->desk().Demand("Bearer second");
  target_.bearer_file = folder_ / "token";
  std::ofstream(target_.bearer_file) << "first\n";
  StartDelivery();
  QueueFor(0, 0, "9990000018");
  Until([&] { return delivery_->progress().again > 0; });
  std::ofstream(target_.bearer_file) << "second\n";
  UntilCompleted(1);
  EXPECT_EQ(Stored().on_hold, 0U);
}

}  // namespace
}  // namespace dwell::delivery
