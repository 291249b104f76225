// Records for the store's tests: short to write, complete enough to compare.
#pragma once

#include <gtest/gtest.h>

#include <memory>
#include <string>
#include <vector>

#include "daemon/store/store.h"
#include "tests/support/temp_folder.h"

namespace dwell::store {

inline Instant At(std::int64_t ms) { return Instant(std::chrono::milliseconds(ms)); }

/// The value of a result that must be good.
template <class T>
T Good(Result<T> result) {
  if (result.has_error()) {
    ADD_FAILURE() << result.error().message();
    std::abort();
  }
  return std::move(result.value());
}
inline void Good(const Result<void>& result) {
  ASSERT_TRUE(result.has_value()) << result.error().message();
}

inline std::unique_ptr<Store> OpenStore(const std::string& path) { return Good(Store::Open(path)); }

inline std::int64_t AddLine(Store& store, const std::string& line_id) {
  LineRecord line;
  line.key = {"ward-tablets", line_id};
  line.summary = "{}";
  return Good(store.SaveLine(line));
}

inline std::int64_t AddEvent(Store& store, std::int64_t line_seq, const std::string& id) {
  EventRecord event;
  event.source = "ward-tablets";
  event.id = id;
  event.kind = "flush";
  event.content[0] = 7;
  event.received_at = At(1000);
  event.raw = "raw bytes of " + id;
  return Good(store.AddEvent(event, line_seq));
}

inline BundleRecord Bundle(std::int64_t line_seq, std::int64_t event_seq,
                           DeliveryState state = DeliveryState::kReady) {
  BundleRecord bundle;
  bundle.line_seq = line_seq;
  bundle.event_seq = event_seq;
  bundle.made_at = At(2000);
  bundle.state = state;
  bundle.body = "body of event " + std::to_string(event_seq);
  return bundle;
}

inline std::vector<std::int64_t> Seqs(const std::vector<BundleRecord>& bundles) {
  std::vector<std::int64_t> seqs;
  for (const BundleRecord& bundle : bundles) seqs.push_back(bundle.seq);
  return seqs;
}

inline Settlement Settled(std::int64_t bundle_seq, DeliveryState state) {
  Settlement settlement;
  settlement.bundle_seq = bundle_seq;
  settlement.state = state;
  settlement.at = At(9000);
  return settlement;
}

}  // namespace dwell::store
