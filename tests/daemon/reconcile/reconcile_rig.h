// Reading back as a whole for tests: a real ledger, store, delivery and practice endpoint, on a
// clock that stands still. Nobody sleeps: tests carry a run on until it is through.
#pragma once

#include <gmock/gmock.h>

#include <algorithm>
#include <fstream>
#include <iterator>

#include "daemon/delivery/delivery.h"
#include "daemon/reconcile/reconciler.h"
#include "tests/daemon/ledger/ledger_rig.h"
#include "tests/endpoint/practice_endpoint.h"

namespace dwell::reconcile {

/// For messages of failed tests.
inline void PrintTo(const Finding& finding, std::ostream* out) {
  *out << GradeName(finding.grade) << " " << finding.type << " " << finding.why;
  for (const Difference& one : finding.differences) {
    *out << "\n  " << one.pointer << ": " << one.sent << " | " << one.held;
  }
}

class ReconcileRig : public test::LedgerRig {
 protected:
  ReconcileRig() : endpoint_(std::move(practice::PracticeEndpoint::Start({}).value())) {
    target_.url = endpoint_->url();
  }
  ~ReconcileRig() override {
    if (reconciler_) reconciler_->Stop();
    if (delivery_) delivery_->Stop(std::chrono::seconds(20));
    Close();
  }

  /// Delivery and reading back, to the endpoint as `target_` now says.
  void StartAll(Schedule schedule = {}) {
    Open();
    delivery_ = std::move(delivery::Delivery::Start(*writer_, clock_, target_, MeansOf()).value());
    ledger_->OnNews([this] { delivery_->Wake(); });
    reconciler_ =
        std::move(Reconciler::Start(*ledger_, clock_,
                                    {{"main", target_, [this] { return delivery_->progress(); }}},
                                    schedule, MeansOf())
                      .value());
  }

  static delivery::Means MeansOf() {
    delivery::Means means;
    means.backoff = {.first = std::chrono::milliseconds(2), .most = std::chrono::milliseconds(8)};
    return means;
  }

  /// Waits until the endpoint has taken everything; ctest bounds the time.
  void UntilDelivered() {
    while (true) {
      const store::Counts counts = Counts();
      if (counts.ready + counts.in_progress == 0) return;
    }
  }

  /// What a whole run told.
  struct Told {
    std::vector<Finding> findings;
    std::vector<Sent> sent;
    std::vector<std::string> waits;
    Tally tally;
    std::string refusal;
  };
  Step NextOf(const std::shared_ptr<reconcile::Run>& run) {
    std::promise<Step> told;
    reconciler_->Next(run, [&told](Step step) { told.set_value(std::move(step)); });
    return told.get_future().get();
  }
  void Note(Step step, Told& told) {
    std::ranges::move(step.findings, std::back_inserter(told.findings));
    std::ranges::move(step.sent, std::back_inserter(told.sent));
    if (!step.waiting.empty()) told.waits.push_back(step.waiting);
    told.tally = step.tally;
    told.refusal = step.refusal;
  }
  Told All(Order order = {}) {
    Told told;
    const auto run = reconciler_->Begin(std::move(order));
    EXPECT_NE(run, nullptr);
    bool is_over = run == nullptr;
    while (!is_over) {
      Step step = NextOf(run);
      is_over = step.done || !step.refusal.empty();
      Note(std::move(step), told);
    }
    return told;
  }
  static Order Sending() {
    Order order;
    order.send = true;
    order.by = "op-3";
    order.why = "the record lost a day";
    return order;
  }

  /// "Type/id" of what the endpoint holds, of one type.
  std::vector<std::string> KeysOf(const std::string& type) {
    std::vector<std::string> keys;
    const std::string dump = endpoint_->desk().Dump(type);
    const std::string mark = "\"id\":\"";
    for (std::size_t at = 0; at < dump.size(); at = dump.find('\n', at) + 1) {
      const std::size_t begin = dump.find(mark, at) + mark.size();
      keys.push_back(type + "/" + dump.substr(begin, dump.find('"', begin) - begin));
    }
    return keys;
  }
  std::string TextOf(const std::string& key) {
    practice::HttpRequest request;
    request.method = "GET";
    const std::string target = "/fhir/" + key;
    request.target = target;
    return endpoint_->desk().Answer(request).body;
  }
  int Put(const std::string& key, const std::string& body) {
    practice::HttpRequest request;
    request.method = "PUT";
    const std::string target = "/fhir/" + key;
    request.target = target;
    request.content_type = "application/fhir+json";
    request.body = body;
    return endpoint_->desk().Answer(request).status;
  }

  std::unique_ptr<practice::PracticeEndpoint> endpoint_;
  delivery::Endpoint target_;
  std::unique_ptr<delivery::Delivery> delivery_;
  std::unique_ptr<Reconciler> reconciler_;
};

}  // namespace dwell::reconcile
