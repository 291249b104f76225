// The search for Tasks over HTTP, on a listener of its own: whoever reaches it reads what is due
// for whom.
#pragma once

#include <functional>
#include <memory>
#include <string>

#include "daemon/base/clock.h"
#include "daemon/intake/service.h"
#include "daemon/ledger/ledger.h"

namespace dwell::search {

class SearchService final : public intake::Service {
 public:
  struct Options {
    FhirRelease release = FhirRelease::kR4;
    std::string version;  ///< of this program
    /// Pages of lines that one request may read before it answers with what it has and a link to
    /// the rest.
    std::size_t pages_max = limits::kSearchPagesMax;
  };

  /// Both outlive every answer.
  SearchService(ledger::Ledger& ledger, const base::Clock& clock, Options options)
      : ledger_(ledger), clock_(clock), options_(std::move(options)) {}

  /// GET and HEAD of /fhir/Task (200, a searchset; 400 what is not understood; 503 the store) and
  /// /fhir/metadata.
  intake::Plan Judge(const intake::GateHead& head) override;

 private:
  ledger::Ledger& ledger_;
  const base::Clock& clock_;
  const Options options_;
};

}  // namespace dwell::search
