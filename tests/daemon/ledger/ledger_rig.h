// A ledger on a real store, with a clock that stands still, for tests.
#pragma once

#include <gtest/gtest.h>

#include <future>
#include <memory>
#include <string>
#include <vector>

#include "daemon/ledger/ledger.h"
#include "daemon/store/writer.h"
#include "tests/support/manual_clock.h"
#include "tests/support/temp_folder.h"
#include "tests/support/ward_events.h"

namespace dwell::test {

/// One event on its way in. The contract is checked: a test event must be legal.
inline ledger::Submission Submit(const schemas::Bundled& schemas, const std::string& raw) {
  const auto document = schemas::Document::Parse(raw);
  if (document.has_error()) {
    ADD_FAILURE() << document.error().rule << " at " << document.error().offset << ": " << raw;
    std::abort();
  }
  for (const auto& violation : schemas.CheckEvent(document->root())) {
    ADD_FAILURE() << violation.pointer << " " << violation.rule << " " << violation.expected;
  }
  auto event = event::ReadEvent(document->root());
  if (event.has_error()) {
    ADD_FAILURE() << event.error()[0].pointer << " " << event.error()[0].expected;
    std::abort();
  }
  return {std::make_shared<const event::Event>(std::move(*event)), raw};
}

inline due::Policy PracticePolicy() {
  due::LineRules cannula;
  cannula.dwell_max = std::chrono::hours(72);
  cannula.dwell_max_emergency = std::chrono::hours(24);
  cannula.check_rounds = {std::chrono::hours(6), std::chrono::hours(14), std::chrono::hours(22)};
  cannula.remove_at_phlebitis_grade = 2;
  due::Policy policy;
  policy.name = "test-policy";
  policy.version = "1";
  policy.by_kind["peripheral-cannula"] = cannula;
  return policy;
}

/// What stays the same for all tests: loaded once.
struct Shelf {
  schemas::Bundled schemas = std::move(schemas::Bundled::Load().value());
  codes::CodeMap codes =
      std::move(codes::CodeMap::LoadBundled(codes::CodeMap::Edition::kFree).value());
  due::Zone zone = std::move(due::Zone::Load("Europe/London").value());
  due::Policy policy = PracticePolicy();

  static const Shelf& Get() {
    static const Shelf shelf;
    return shelf;
  }
  ledger::Rules Rules() const {
    ledger::Rules rules;
    rules.schemas = &schemas;
    rules.policy = &policy;
    rules.zone = &zone;
    rules.fhir.site_namespace = "https://fernhill.example/dwell";
    rules.fhir.test_data = true;
    rules.fhir.codes = &codes;
    rules.fhir.zone = &zone;
    return rules;
  }
};

class LedgerRig : public testing::Test {
 protected:
  void Open(const store::Options& options = {}) {
    auto opened = store::Store::Open(path_, options);
    ASSERT_TRUE(opened.has_value()) << opened.error().message();
    writer_ = std::make_unique<store::Writer>(std::move(opened.value()), nullptr);
    ledger_ = std::make_unique<ledger::Ledger>(*writer_, clock_, rules_);
    ledger_->OnNews([this] { ++news_; });
  }
  void Close() {
    ledger_.reset();
    writer_.reset();
  }
  void Reopen() {
    Close();
    Open();
  }
  std::vector<ledger::Receipt> SendAll(const std::vector<std::string>& raws) {
    std::vector<ledger::Submission> submissions;
    for (const std::string& raw : raws) {
      submissions.push_back(Submit(Shelf::Get().schemas, raw));
    }
    std::promise<std::vector<ledger::Receipt>> told;
    ledger_->Submit(std::move(submissions), [&told](std::vector<ledger::Receipt> receipts) {
      told.set_value(std::move(receipts));
    });
    return told.get_future().get();
  }
  ledger::Receipt Send(const Sketch& sketch) { return SendAll({Raw(sketch)}).at(0); }
  /// Sends at the time the event was recorded.
  void Store(const Sketch& sketch) {
    clock_.Set(Hour(sketch.recorded_hours < 0 ? sketch.hours : sketch.recorded_hours));
    const ledger::Receipt receipt = Send(sketch);
    ASSERT_EQ(receipt.answer, ledger::Answer::kStored)
        << sketch.id << ": " << receipt.contradiction.rule << receipt.why;
  }
  Result<std::optional<Instant>> CatchUp() {
    std::promise<Result<std::optional<Instant>>> told;
    ledger_->CatchUp(
        [&told](Result<std::optional<Instant>> next) { told.set_value(std::move(next)); });
    return told.get_future().get();
  }
  /// Runs on the store thread, inside a transaction.
  Result<void> OnStore(std::function<Result<void>(store::Store&)> work) {
    std::promise<Result<void>> told;
    writer_->Post(
        {std::move(work), [&told](const Result<void>& result) { told.set_value(result); }});
    return told.get_future().get();
  }
  store::Counts Counts() {
    store::Counts counts;
    OnStore([&](store::Store& store) -> Result<void> {
      counts = store.counts();
      return {};
    }).has_value();
    return counts;
  }
  /// Claims and completes everything; the bodies in the order in which they may be sent.
  std::vector<std::string> Deliver() {
    std::vector<std::string> bodies;
    bool more = true;
    while (more) {
      const Result<void> done = OnStore([&](store::Store& store) -> Result<void> {
        auto claimed = store.Claim(0, clock_.Now(), 100);
        if (claimed.has_error()) return claimed.error();
        more = !claimed.value().empty();
        for (store::BundleRecord& bundle : claimed.value()) {
          bodies.push_back(std::move(bundle.body));
          store::Settlement settlement;
          settlement.bundle_seq = bundle.seq;
          const Result<void> settled = store.Settle(settlement);
          if (settled.has_error()) return settled;
        }
        return {};
      });
      EXPECT_TRUE(done.has_value());
    }
    return bodies;
  }

  TempFolder folder_;
  std::string path_ = folder_ / "store";
  ManualClock clock_{Start()};
  ledger::Rules rules_ = Shelf::Get().Rules();
  std::atomic<int> news_{0};
  std::unique_ptr<store::Writer> writer_;
  std::unique_ptr<ledger::Ledger> ledger_;
};

}  // namespace dwell::test
