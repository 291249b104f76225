// The JSON objects of the admin socket's listings, each with its line end. Pure.
#pragma once

#include <optional>
#include <string>

#include "daemon/delivery/delivery.h"
#include "daemon/reconcile/reconciler.h"
#include "daemon/retention/retention.h"
#include "daemon/store/store.h"

namespace dwell::admin {

/// How delivery to a configured endpoint gets on.
struct EndpointState {
  std::string name;
  delivery::Progress progress;
};

/// What the daemon goes by.
struct InForce {
  std::string policy, version, tz_data;
  Instant read_at{};                       ///< when that was read, at the start or by a reload
  std::optional<Instant> refused_at;       ///< when a later reload was refused: a file was wrong
  std::vector<std::string> needs_restart;  ///< keys that changed in the file since the start
  /// Lines that are still to follow changed rules.
  struct ToFollow {
    std::uint64_t looked_at = 0, of = 0;
    std::string waits_for;  ///< why it pauses; empty: it does not
  };
  std::optional<ToFollow> to_follow;
};

/// What `status` answers with, besides what the store counts.
struct State {
  Instant now{};
  std::string zone;                         ///< of the site
  std::chrono::milliseconds wall_ahead{0};  ///< see base::Clock
  bool draining = false;
  std::vector<EndpointState> endpoints;      ///< those of the configuration, the main one first
  std::vector<store::EndpointRecord> known;  ///< those of the store
  std::optional<Instant> caught_up_to;
  std::optional<InForce> in_force;
  store::Pages pages;
  std::optional<retention::CleanUp> cleaned_up;
  std::vector<reconcile::LastRun> reconciled;  ///< the last of each endpoint
  std::size_t damaged_lines = 0;               ///< at most limits::kListingRowsMax are counted
  std::vector<store::SourceRecord> sources;
  std::optional<std::chrono::minutes> silent_after;  ///< see store::MayBeQuietFor()
  std::vector<store::UnknownCodeRecord> unknown_codes;
  std::vector<store::DoubtfulIdentifierRecord> doubtful_identifiers;
};

std::string StatusRow(const store::Counts& counts, const State& state);
/// `endpoint` is its name, empty where there is only one; not `is_configured`: it is no longer in
/// the configuration, so that nothing is sent there.
std::string QueueRowText(const store::QueueRow& row, std::string_view endpoint = {},
                         bool is_configured = true);
/// The ledger's own summary of the line, as it is; of one that is no longer kept source, line_id,
/// phase ("no-longer-kept") and no_longer_kept_since; of one that is damaged source, line_id, phase
/// ("unreadable"), damaged_since and, as last known, patient, ward, bay, bed, kind, site and since.
std::string LineRow(const store::LineRecord& line);
/// {"end":true}, with `error` if it is not empty.
std::string EndRow(std::string_view error);

}  // namespace dwell::admin
