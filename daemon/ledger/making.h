// From a line's life to what is to be stored and sent: dues, resources, their check, the bundle.
// Pure: the same line, rules and instant give the same bytes.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "daemon/ledger/ledger.h"
#include "daemon/ledger/line_cache.h"

namespace dwell::ledger {

struct Making {
  std::vector<fhir::Issued> issued;    ///< the whole list afterwards
  std::optional<Instant> next_change;  ///< when the clock must look at the line again
  std::string summary;                 ///< see LineSummary()
  std::string ward;                    ///< where the line now is
  bool news = false;                   ///< something differs from what was issued
  /// Of the news, one for each endpoint that gets any of it; without line, event and ward. On hold,
  /// with why, when a resource of ours breaks our own structure: the event is right, we are wrong.
  std::vector<store::BundleRecord> bundles;

  /// Why the first bundle on hold is; empty when none is.
  std::string fault() const;
};

/// What follows from the line under the rules as they are.
struct Derived {
  std::vector<due::Due> dues;
  fhir::Made made;
};

/// Derives dues and resources that differ, by their inputs, from what `issued` says.
Derived DeriveResources(const line::Line& line, const std::vector<fhir::Issued>& issued,
                        const Rules& rules, const fhir::Cause& cause);

/// What is to be stored of it.
Making FinishMaking(const line::Line& line, Derived derived, const Rules& rules, Instant now);

/// Both. `before` says what was issued so far; `cause` is the event that came in, or null for the
/// clock.
Making MakeAll(const line::Line& line, const LineState& before, const Rules& rules,
               const event::Event* cause, Instant now);

}  // namespace dwell::ledger
