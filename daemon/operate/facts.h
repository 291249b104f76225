// What is known of the running daemon at one moment, as plain data: what health and metrics are
// made of. Nothing of a patient, a person or an event is in it.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "daemon/delivery/progress.h"
#include "daemon/intake/tally.h"
#include "daemon/operate/watch.h"
#include "daemon/store/store.h"
#include "mapping/event/moment.h"

namespace dwell::operate {

struct WorkerFacts {
  Worker worker = Worker::kNet;
  std::string endpoint;  ///< of a delivery
  bool is_stuck = false;
};

struct EndpointFacts {
  std::string name;
  delivery::Progress progress;
};

/// What only the store's thread knows.
struct StoreFacts {
  store::Counts counts;
  std::vector<store::EndpointRecord> endpoints;  ///< all that bundles were ever made for
  store::Pages pages;
  std::size_t log_pages = 0;
  std::vector<store::SourceRecord> sources;
  std::uint64_t unknown_codes = 0, unknown_code_events = 0;
  std::uint64_t doubtful_identifier_events = 0;
};

struct Facts {
  std::string version, fhir_version;
  Instant now{};  ///< of the wall clock
  Instant started_at{};
  SteadyTime steady;
  bool draining = false;
  bool store_stopped = false;               ///< for good
  std::optional<std::uint64_t> free_bytes;  ///< of the store's file system, if it could be asked
  intake::Tally::Counts events{};           ///< since the start
  std::uint64_t jobs_waiting = 0;           ///< for the store's thread
  std::optional<Instant> caught_up_to;      ///< so far everything due has been told
  std::optional<bool> reloaded;             ///< how the last reading again of the rules went
  std::uint64_t clock_steps = 0;            ///< see base::Clock, as the next
  std::chrono::milliseconds wall_ahead{0};
  std::optional<std::chrono::minutes> silent_after;  ///< see store::MayBeQuietFor()
  std::vector<EndpointFacts> endpoints;              ///< those of the configuration
  std::vector<WorkerFacts> workers;
  std::optional<StoreFacts> store;  ///< empty: its thread did not answer in time
};

}  // namespace dwell::operate
