// The JSON objects of the admin socket's listings, each with its line end. Pure.
#pragma once

#include <optional>
#include <string>

#include "daemon/delivery/delivery.h"
#include "daemon/reconcile/reconciler.h"
#include "daemon/retention/retention.h"
#include "daemon/store/store.h"

namespace dwell::admin {

/// What `status` answers with, besides what the store counts.
struct State {
  Instant now{};
  bool draining = false;
  delivery::Progress progress;
  std::optional<Instant> caught_up_to;
  store::Pages pages;
  std::optional<retention::CleanUp> cleaned_up;
  std::optional<reconcile::LastRun> reconciled;
  std::vector<store::UnknownCodeRecord> unknown_codes;
  std::vector<store::DoubtfulIdentifierRecord> doubtful_identifiers;
};

std::string StatusRow(const store::Counts& counts, const State& state);
std::string QueueRowText(const store::QueueRow& row);
/// The ledger's own summary of the line, as it is; of one that is no longer kept source, line_id,
/// phase ("no-longer-kept") and no_longer_kept_since.
std::string LineRow(const store::LineRecord& line);
/// {"end":true}, with `error` if it is not empty.
std::string EndRow(std::string_view error);

}  // namespace dwell::admin
