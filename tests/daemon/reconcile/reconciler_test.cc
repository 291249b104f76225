// Loss on the other side of a success: an endpoint that accepts, then forgets or alters.
#include "tests/daemon/reconcile/reconcile_rig.h"

namespace dwell::reconcile {
namespace {

using practice::Mood;
using test::Hour;
using test::Insertion;
using test::SiteCheck;
using testing::Each;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

class Reconciling : public ReconcileRig {};

TEST_F(Reconciling, NothingIsFoundWhenTheEndpointHoldsWhatItAccepted) {
  StartAll();
  Store(Insertion("a", 0));
  Store(SiteCheck("b", 1));
  UntilDelivered();
  const Told told = All();
  EXPECT_THAT(told.findings, IsEmpty());
  EXPECT_EQ(told.tally.lines, 1U);
  const std::string held = endpoint_->desk().Dump("");
  EXPECT_EQ(told.tally.compared,
            static_cast<std::size_t>(std::ranges::count(held, '\n')));  // all there is
  EXPECT_GT(told.tally.compared, 5U);
}

TEST_F(Reconciling, WhatTheEndpointForgotIsMissingAndArrivesAgainOnOrder) {
  StartAll();
  Store(Insertion("a", 0));
  UntilDelivered();
  const std::string device = KeysOf("Device").at(0);
  const std::string before = TextOf(device);
  ASSERT_TRUE(endpoint_->desk().Forget(device));

  const Told told = All();
  ASSERT_THAT(told.findings, SizeIs(1));
  EXPECT_EQ(told.findings[0].grade, Grade::kMissing);
  EXPECT_EQ(told.findings[0].type + "/" + told.findings[0].id, device);
  EXPECT_EQ(told.findings[0].key.line_id, "line-1");
  EXPECT_EQ(told.findings[0].ward, "alder");
  EXPECT_THAT(told.sent, IsEmpty());
  EXPECT_EQ(endpoint_->desk().VersionOf(device), 0U);  // told only

  const Told sent = All(Sending());
  EXPECT_EQ(sent.tally.sent, 1U);
  ASSERT_THAT(sent.sent, SizeIs(1));
  EXPECT_THAT(sent.sent[0].bundle_seqs, SizeIs(1));
  UntilDelivered();
  // The same text, but for when the endpoint wrote it.
  EXPECT_EQ(TextOf(device).substr(TextOf(device).find("\"identifier\"")),
            before.substr(before.find("\"identifier\"")));
  EXPECT_THAT(All().findings, IsEmpty());
  EXPECT_EQ(endpoint_->desk().counts().repeats, 0U);
}

TEST_F(Reconciling, WhatTheEndpointDeletedIsMissingToo) {
  StartAll();
  Store(Insertion("a", 0));
  UntilDelivered();
  practice::HttpRequest request;
  request.method = "DELETE";
  const std::string target = "/fhir/" + KeysOf("Procedure").at(0);
  request.target = target;
  EXPECT_EQ(endpoint_->desk().Answer(request).status, 204);
  const Told told = All();
  ASSERT_THAT(told.findings, SizeIs(1));
  EXPECT_EQ(told.findings[0].grade, Grade::kMissing);
  EXPECT_THAT(told.findings[0].why, HasSubstr("410"));
}

TEST_F(Reconciling, WhatTheEndpointAlteredDiffersWhereItWasAltered) {
  StartAll();
  Store(Insertion("a", 0));
  UntilDelivered();
  const std::string procedure = KeysOf("Procedure").at(0);
  ASSERT_TRUE(
      endpoint_->desk().Alter(procedure, R"("status":"completed")", R"("status":"in-progress")"));
  const Told told = All();
  ASSERT_THAT(told.findings, SizeIs(1));
  EXPECT_EQ(told.findings[0].grade, Grade::kDiffers);
  EXPECT_FALSE(told.findings[0].changed_since);
  ASSERT_THAT(told.findings[0].differences, SizeIs(1));
  EXPECT_EQ(told.findings[0].differences[0].pointer, "/status");
  EXPECT_EQ(told.findings[0].differences[0].sent, "completed");
  EXPECT_EQ(told.findings[0].differences[0].held, "in-progress");
  All(Sending());
  UntilDelivered();
  EXPECT_THAT(TextOf(procedure), HasSubstr(R"("status":"completed")"));
  EXPECT_THAT(All().findings, IsEmpty());
}

TEST_F(Reconciling, ARecordThatNowNamesAnotherPatientIsTheWorst) {
  StartAll();
  Store(Insertion("a", 0));
  UntilDelivered();
  ASSERT_TRUE(endpoint_->desk().Alter(KeysOf("Procedure").at(0), "9990000018", "9990000026"));
  const Told told = All();
  ASSERT_THAT(told.findings, SizeIs(1));
  EXPECT_EQ(told.findings[0].grade, Grade::kWrongPatient);
  EXPECT_EQ(told.tally.wrong_patient, 1U);
  EXPECT_EQ(told.tally.differs, 0U);
}

TEST_F(Reconciling, APatientThatWasLookedUpIsNoDifferenceUnlessItIsAnother) {
  rules_.fhir.patients = fhir::ReferenceForm::kConditional;
  target_.look_ups.patients = true;
  const auto patient = [](const char* id, const char* number) {
    return std::string(R"({"resourceType":"Patient","id":")") + id +
           R"(","identifier":[{"system":"https://fhir.nhs.uk/Id/nhs-number","value":")" + number +
           R"("}]})";
  };
  EXPECT_EQ(Put("Patient/p-1", patient("p-1", "9990000018")), 201);
  EXPECT_EQ(Put("Patient/p-2", patient("p-2", "9990000026")), 201);
  StartAll();
  Store(Insertion("a", 0));
  UntilDelivered();
  const std::string procedure = KeysOf("Procedure").at(0);
  ASSERT_THAT(TextOf(procedure), HasSubstr("\"Patient/p-1\""));
  EXPECT_THAT(All().findings, IsEmpty());
  ASSERT_TRUE(endpoint_->desk().Alter(procedure, "Patient/p-1", "Patient/p-2"));
  const Told told = All(Sending());
  ASSERT_THAT(told.findings, SizeIs(1));
  EXPECT_EQ(told.findings[0].grade, Grade::kWrongPatient);
  UntilDelivered();
  EXPECT_THAT(TextOf(procedure), HasSubstr("\"Patient/p-1\""));  // the search went out again
  EXPECT_THAT(All().findings, IsEmpty());
}

TEST_F(Reconciling, WhatSomebodyElseWroteSinceIsToldAndOnlyOverwrittenOnOrder) {
  StartAll();
  Store(Insertion("a", 0));
  UntilDelivered();
  const std::string device = KeysOf("Device").at(0);
  std::string text = TextOf(device);
  text.replace(text.find(R"("status":"active")"), 17, R"("status":"inactive")");
  clock_.Set(Hour(1));
  EXPECT_EQ(Put(device, text), 200);
  const Told told = All(Sending());
  ASSERT_THAT(told.findings, SizeIs(1));
  EXPECT_TRUE(told.findings[0].changed_since);
  EXPECT_EQ(told.tally.sent, 0U);
  Order order = Sending();
  order.overwrite = true;
  EXPECT_EQ(All(order).tally.sent, 1U);
  UntilDelivered();
  EXPECT_THAT(TextOf(device), HasSubstr(R"("status":"active")"));
}

TEST_F(Reconciling, WhileTheEndpointIsDownItWaitsAndThenGoesOnWhereItWas) {
  StartAll();
  for (const char* const line : {"line-1", "line-2", "line-3"}) {
    Store(Insertion(std::string("a-") + line, 0, line));
  }
  UntilDelivered();
  const std::string device = KeysOf("Device").at(1);
  ASSERT_TRUE(endpoint_->desk().Forget(device));
  endpoint_->GoDown();
  const auto run = reconciler_->Begin({});
  Told told;
  while (told.waits.empty()) Note(NextOf(run), told);
  EXPECT_THAT(told.findings, IsEmpty());
  ASSERT_TRUE(endpoint_->ComeBack());
  for (bool done = false; !done;) {
    Step step = NextOf(run);
    done = step.done;
    Note(std::move(step), told);
  }
  ASSERT_THAT(told.findings, SizeIs(1));
  EXPECT_EQ(told.findings[0].type + "/" + told.findings[0].id, device);
  EXPECT_EQ(told.tally.looked_at, 3U);
}

TEST_F(Reconciling, WhatFailsEachTimeIsToldAsUnreadableAndNeverSent) {
  StartAll();
  Store(Insertion("a", 0));
  UntilDelivered();
  Mood mood;
  mood.kind = Mood::Kind::kStatus;
  mood.status = 500;
  mood.next = -1;
  mood.containing = KeysOf("Device").at(0);
  endpoint_->desk().SetMood(mood);
  const Told told = All(Sending());
  ASSERT_THAT(told.findings, SizeIs(1));
  EXPECT_EQ(told.findings[0].grade, Grade::kUnreadable);
  EXPECT_EQ(told.tally.sent, 0U);
  EXPECT_GT(told.tally.compared, 3U);  // the others were read all the same
}

TEST_F(Reconciling, ATokenIsSentAndWithoutOneNothingIsCalledMissing) {
  const std::string file = folder_ / "token";
  std::ofstream(file) << "good-token\n";
  endpoint_->desk().Demand("Bearer good-token");
  target_.bearer_file = file;
  StartAll();
  Store(Insertion("a", 0));
  UntilDelivered();
  EXPECT_THAT(All().findings, IsEmpty());
  endpoint_->desk().Demand("Bearer another-token");
  const auto run = reconciler_->Begin({});
  Told told;
  while (told.waits.empty()) Note(NextOf(run), told);
  EXPECT_THAT(told.findings, IsEmpty());
  EXPECT_THAT(told.waits, Each(HasSubstr("credentials")));
}

TEST_F(Reconciling, OneRunAtATimeAndOneThatWasLetGoOfIsOver) {
  StartAll();
  Store(Insertion("a", 0));
  UntilDelivered();
  auto run = reconciler_->Begin({});
  ASSERT_NE(run, nullptr);
  EXPECT_EQ(reconciler_->Begin({}), nullptr);
  run.reset();
  EXPECT_THAT(All().findings, IsEmpty());
}

TEST_F(Reconciling, AStopDoesNotWaitForAnAnswerThatDoesNotCome) {
  StartAll();
  Store(Insertion("a", 0));
  UntilDelivered();
  Mood mood;
  mood.kind = Mood::Kind::kStall;
  mood.next = -1;
  endpoint_->desk().SetMood(mood);
  const std::uint64_t before = endpoint_->desk().counts().requests;
  std::promise<Step> told;
  reconciler_->Next(reconciler_->Begin({}),
                    [&told](Step step) { told.set_value(std::move(step)); });
  while (endpoint_->desk().counts().requests == before) std::this_thread::yield();
  reconciler_->Stop();
  EXPECT_EQ(told.get_future().get().refusal, "the daemon stops");
}

// --- On a schedule -------------------------------------------------------------------------------

TEST_F(Reconciling, OnAScheduleItCountsAndSendsNothing) {
  StartAll({.every = std::chrono::hours(24)});
  Store(Insertion("a", 0));
  UntilDelivered();
  ASSERT_TRUE(endpoint_->desk().Forget(KeysOf("Device").at(0)));
  EXPECT_THAT(reconciler_->last(), IsEmpty());
  clock_.Set(Hour(0.5));
  reconciler_->Wake();
  while (reconciler_->last().empty()) std::this_thread::yield();
  const LastRun last = reconciler_->last().at(0);
  EXPECT_EQ(last.tally.missing, 1U);
  EXPECT_EQ(last.tally.sent, 0U);
  EXPECT_EQ(last.since, Hour(0.5) - std::chrono::days(2));
  clock_.Set(Hour(24));  // not yet: it began half an hour late
  reconciler_->Wake();
  clock_.Set(Hour(25));
  reconciler_->Wake();
  while (reconciler_->last().at(0).began == last.began) std::this_thread::yield();
  EXPECT_EQ(reconciler_->last().at(0).began, Hour(25));
}

TEST_F(Reconciling, OnAScheduleItSendsWhenConfiguredSo) {
  StartAll({.every = std::chrono::hours(24), .send = true});
  Store(Insertion("a", 0));
  UntilDelivered();
  const std::string device = KeysOf("Device").at(0);
  ASSERT_TRUE(endpoint_->desk().Forget(device));
  clock_.Set(Hour(0.5));
  reconciler_->Wake();
  while (reconciler_->last().empty()) std::this_thread::yield();
  EXPECT_EQ(reconciler_->last().at(0).tally.sent, 1U);
  UntilDelivered();
  EXPECT_EQ(endpoint_->desk().VersionOf(device), 1U);
}

}  // namespace
}  // namespace dwell::reconcile
