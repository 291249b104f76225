// What the store is told of an attempt: (bundle, verdict, times) -> settlement. Pure.
#pragma once

#include <chrono>

#include "daemon/delivery/backoff.h"
#include "daemon/delivery/verdict.h"
#include "daemon/store/store.h"

namespace dwell::delivery {

/// How long ago the bundle was made; never negative, whatever the clock did.
std::chrono::milliseconds AgeOf(const store::BundleRecord& bundle, Instant now);

/// This bundle's own wait before it is tried again: what the endpoint asks for, else by its age
/// when it waits for somebody unknown, else by its attempts.
std::chrono::milliseconds WaitOf(const Verdict& verdict, const store::BundleRecord& bundle,
                                 const Backoff& backoff, Instant now, std::uint64_t random);

/// `wait` is this bundle's own wait before it is tried again, `pause` what remains of a pause of
/// the whole endpoint. A bundle that the endpoint saw waits for both, one after the other: so when
/// the pause ends another lane probes, and one bad bundle cannot keep the house shut.
store::Settlement Settle(const store::BundleRecord& bundle, const Verdict& verdict, Instant now,
                         std::chrono::milliseconds wait, std::chrono::milliseconds pause);

/// A claimed bundle that was not sent goes back as it was.
store::Settlement GiveBack(const store::BundleRecord& bundle, Instant now);

}  // namespace dwell::delivery
