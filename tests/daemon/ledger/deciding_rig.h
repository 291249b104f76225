// A ledger whose deliveries are refused, released and cancelled, for tests.
#pragma once

#include <gtest/gtest.h>

#include <future>
#include <string>
#include <vector>

#include "daemon/ledger/held.h"
#include "tests/daemon/ledger/ledger_rig.h"

namespace dwell::ledger {

class Deciding : public test::LedgerRig {
 protected:
  Ruling Decide(store::Act act, const std::string& target, const std::string& source = "") {
    Order order;
    order.act = act;
    order.target = target;
    order.source = source;
    return Tell(std::move(order));
  }
  Ruling ReleaseAllOf(const std::string& reason, std::int64_t after = 0) {
    Order order;
    order.all_of = reason;
    order.after = after;
    return Tell(std::move(order));
  }
  Ruling Release(const std::string& target) { return Decide(store::Act::kReleased, target); }
  Ruling Cancel(const std::string& target) { return Decide(store::Act::kCancelled, target); }
  Ruling Tell(Order order) {
    order.by = "op-3";
    order.why = "looked at it";
    std::promise<Ruling> told;
    ledger_->Decide(std::move(order), [&told](Result<Ruling> ruling) {
      ASSERT_TRUE(ruling.has_value()) << ruling.error().message();
      told.set_value(std::move(ruling.value()));
    });
    return told.get_future().get();
  }

  /// Claims all that may be sent and has it refused; their numbers.
  std::vector<std::int64_t> RefuseAll() {
    std::vector<std::int64_t> seqs;
    EXPECT_TRUE(OnStore([&](store::Store& store) -> Result<void> {
                  auto claimed = store.Claim(0, clock_.Now(), 100);
                  if (claimed.has_error()) return claimed.error();
                  for (const store::BundleRecord& bundle : claimed.value()) {
                    store::Settlement held;
                    held.bundle_seq = bundle.seq;
                    held.state = store::DeliveryState::kOnHold;
                    held.why = "the endpoint answered 422: it refused it";
                    const Result<void> settled = store.Settle(held);
                    if (settled.has_error()) return settled;
                    seqs.push_back(bundle.seq);
                  }
                  return {};
                }).has_value());
    return seqs;
  }
  store::BundleRecord BundleOf(std::int64_t seq) {
    store::BundleRecord bundle;
    EXPECT_TRUE(OnStore([&](store::Store& store) -> Result<void> {
                  bundle = *store.FindBundle(seq).value();
                  bundle.decisions = store.DecisionsAbout(seq).value();
                  return {};
                }).has_value());
    return bundle;
  }
  /// "Type/id" of all that the bundles hold, without the Provenances, which are of one bundle each.
  static std::vector<std::string> NamesIn(const std::vector<std::string>& bodies) {
    std::vector<std::string> names;
    for (const std::string& body : bodies) {
      const auto held = ReadHeld(body, test::Shelf::Get().schemas);
      for (const std::string& name : held->names) {
        if (!name.starts_with("Provenance/")) names.push_back(name);
      }
    }
    return names;
  }
};

}  // namespace dwell::ledger
