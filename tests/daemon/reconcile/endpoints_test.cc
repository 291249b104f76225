// Several endpoints: each is read back by itself, and a later one is filled. And an endpoint that
// does not let us read everything.
#include "tests/daemon/reconcile/reconcile_rig.h"

namespace dwell::reconcile {
namespace {

using test::Hour;
using test::Insertion;
using test::SiteCheck;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;
using testing::SizeIs;

class Endpoints : public ReconcileRig {
 protected:
  Endpoints() : other_(std::move(practice::PracticeEndpoint::Start({}).value())) {
    other_target_.url = other_->url();
    other_target_.number = 1;
  }
  ~Endpoints() override { StopAll(); }

  void StopAll() {
    if (reconciler_) reconciler_->Stop();
    for (auto* const each : {&delivery_, &other_delivery_}) {
      if (*each) (*each)->Stop(std::chrono::seconds(20));
    }
    Close();
    reconciler_.reset();
    delivery_.reset();
    other_delivery_.reset();
  }
  /// The main endpoint takes everything, the other `types`.
  void StartBoth(const fhir::Types& types, Schedule schedule = {}) {
    rules_.destinations = {{0, {}}, {1, types}};
    Open();
    EXPECT_TRUE(OnStore([](store::Store& store) -> Result<void> {
                  EXPECT_EQ(store.EndpointNumber("research").value(), 1);
                  return {};
                }).has_value());
    delivery_ = std::move(delivery::Delivery::Start(*writer_, clock_, target_, MeansOf()).value());
    other_delivery_ =
        std::move(delivery::Delivery::Start(*writer_, clock_, other_target_, MeansOf()).value());
    ledger_->OnNews([this] {
      delivery_->Wake();
      other_delivery_->Wake();
    });
    reconciler_ =
        std::move(Reconciler::Start(
                      *ledger_, clock_,
                      {{"main", target_, [this] { return delivery_->progress(); }},
                       {"research", other_target_, [this] { return other_delivery_->progress(); }}},
                      schedule, MeansOf())
                      .value());
  }
  static Order Of(const std::string& endpoint, Order order = {}) {
    order.endpoint = endpoint;
    order.accepted.never_sent = true;
    return order;
  }
  static std::size_t Lines(practice::PracticeEndpoint& endpoint, const std::string& type = "") {
    return static_cast<std::size_t>(std::ranges::count(endpoint.desk().Dump(type), '\n'));
  }

  std::unique_ptr<practice::PracticeEndpoint> other_;
  delivery::Endpoint other_target_;
  std::unique_ptr<delivery::Delivery> other_delivery_;
};

TEST_F(Endpoints, WhatOneForgotIsMissingThereAndGoesThereOnly) {
  StartBoth({});
  Store(Insertion("a", 0));
  UntilDelivered();
  const std::string device = KeysOf("Device").at(0);
  ASSERT_TRUE(other_->desk().Forget(device));
  EXPECT_THAT(All(Of("main")).findings, IsEmpty());
  const std::uint64_t at_main = endpoint_->desk().counts().transactions;
  const Told told = All(Of("research", Sending()));
  ASSERT_THAT(told.findings, SizeIs(1));
  EXPECT_EQ(told.findings[0].grade, Grade::kMissing);
  EXPECT_EQ(told.tally.never_sent, 0U);
  EXPECT_EQ(told.tally.sent, 1U);
  UntilDelivered();
  EXPECT_EQ(other_->desk().VersionOf(device), 1U);
  EXPECT_EQ(endpoint_->desk().counts().transactions, at_main);
  EXPECT_THAT(All(Of("research")).findings, IsEmpty());
}

TEST_F(Endpoints, OneConfiguredLaterIsFilledOnOrderWithWhatOthersGotBefore) {
  StartAll();
  Store(Insertion("a", 0));
  Store(SiteCheck("b", 1));
  UntilDelivered();
  StopAll();
  StartBoth({});
  const Told told = All(Of("research"));
  EXPECT_THAT(told.findings, IsEmpty());
  EXPECT_EQ(told.tally.never_sent, Lines(*endpoint_));
  EXPECT_EQ(Lines(*other_), 0U) << "told only";
  const Told sent = All(Of("research", Sending()));
  EXPECT_EQ(sent.tally.sent, Lines(*endpoint_));
  UntilDelivered();
  EXPECT_EQ(Lines(*other_), Lines(*endpoint_));
  EXPECT_EQ(endpoint_->desk().counts().repeats, 0U);
  const Told again = All(Of("research", Sending()));
  EXPECT_THAT(again.findings, IsEmpty());
  EXPECT_EQ(again.tally.never_sent, 0U);
  EXPECT_EQ(again.tally.sent, 0U);
  EXPECT_EQ(again.tally.compared, Lines(*endpoint_)) << "it says what the main one says";
}

TEST_F(Endpoints, AFilledOneGetsItsTypesOnlyAndReferencesThatDoNotNeedTheOthers) {
  StartAll();
  Store(Insertion("a", 0));
  Store(SiteCheck("b", 1));
  UntilDelivered();
  StopAll();
  StartBoth({"Observation"});
  const Told sent = All(Of("research", Sending()));
  EXPECT_EQ(sent.tally.sent, Lines(*endpoint_, "Observation"));
  UntilDelivered();
  EXPECT_EQ(Lines(*other_), Lines(*endpoint_, "Observation"));
  EXPECT_EQ(Lines(*other_, "Observation"), Lines(*other_));
  EXPECT_THAT(other_->desk().Dump(""), HasSubstr(R"("type":"Device","identifier":)"));
  EXPECT_THAT(endpoint_->desk().Dump("Observation"),
              Not(HasSubstr(R"("type":"Device","identifier":)")));
  EXPECT_THAT(All(Of("research")).findings, IsEmpty());
}

TEST_F(Endpoints, WhatIsOnItsWayThereIsNotSentASecondTime) {
  StartBoth({});
  other_->GoDown();
  Store(Insertion("a", 0));
  while (Counts().completed == 0) std::this_thread::yield();
  const Told told = All(Of("research", Sending()));
  EXPECT_EQ(told.tally.never_sent, 0U);
  EXPECT_EQ(told.tally.sent, 0U);
  ASSERT_TRUE(other_->ComeBack());
  UntilDelivered();
  EXPECT_EQ(other_->desk().counts().transactions, 1U);
}

TEST_F(Endpoints, OnAScheduleEachHasItsTurn) {
  StartBoth({}, {.every = std::chrono::hours(24)});
  Store(Insertion("a", 0));
  UntilDelivered();
  ASSERT_TRUE(other_->desk().Forget(KeysOf("Device").at(0)));
  clock_.Set(Hour(0.5));
  reconciler_->Wake();
  while (reconciler_->last().size() < 2) std::this_thread::yield();
  const std::vector<LastRun> last = reconciler_->last();
  EXPECT_EQ(last[0].endpoint, "main");
  EXPECT_EQ(last[0].tally.missing, 0U);
  EXPECT_EQ(last[1].endpoint, "research");
  EXPECT_EQ(last[1].tally.missing, 1U);
  EXPECT_EQ(last[1].tally.sent, 0U);
}

// --- Not allowed to read -------------------------------------------------------------------------

class Forbidden : public ReconcileRig {
 protected:
  void Forbid(const std::string& containing) {
    practice::Mood mood;
    mood.kind = practice::Mood::Kind::kStatus;
    mood.status = 403;
    mood.next = -1;
    mood.containing = containing;
    endpoint_->desk().SetMood(mood);
  }
};

TEST_F(Forbidden, ATypeThatMayNotBeReadIsOneFindingWithWhatToDoAndTheOthersAreCompared) {
  StartAll();
  for (int i = 0; i < 20; ++i) {
    Store(Insertion("a" + std::to_string(i), 0, "line-" + std::to_string(i)));
  }
  UntilDelivered();
  const std::size_t observations = KeysOf("Observation").size();
  ASSERT_GT(observations, limits::kForbiddenMax + limits::kReadsInFlightMax);
  Forbid("/fhir/Observation/");
  const std::uint64_t before = endpoint_->desk().counts().requests;
  const Told told = All(Sending());
  ASSERT_THAT(told.findings, SizeIs(1));
  EXPECT_EQ(told.findings[0].grade, Grade::kForbidden);
  EXPECT_EQ(told.findings[0].type, "Observation");
  EXPECT_THAT(told.findings[0].why, HasSubstr("scope system/Observation.rs"));
  EXPECT_EQ(told.tally.forbidden, observations);
  EXPECT_EQ(told.tally.sent, 0U);
  EXPECT_GT(told.tally.compared, 0U);
  EXPECT_LT(endpoint_->desk().counts().requests - before, told.tally.compared + observations)
      << "it is not asked for ever";
}

TEST_F(Forbidden, OneThatIsClosedToUsDoesNotCloseItsType) {
  StartAll();
  Store(Insertion("a", 0));
  Store(SiteCheck("b", 1));
  UntilDelivered();
  Forbid(KeysOf("Observation").at(0));
  const Told told = All();
  ASSERT_THAT(told.findings, SizeIs(1));
  EXPECT_EQ(told.tally.forbidden, 1U);
  const std::string held = endpoint_->desk().Dump("");
  EXPECT_EQ(told.tally.compared + 1, static_cast<std::size_t>(std::ranges::count(held, '\n')));
}

}  // namespace
}  // namespace dwell::reconcile
