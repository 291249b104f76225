// The searches that stand for patients and encounters in a frozen bundle, and the endpoint's own
// ids in their places. Pure.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

namespace dwell::delivery {

/// What is to be looked up before a bundle can be sent.
struct Searches {
  struct Place {
    std::size_t at;     ///< of the search's first byte in the bundle
    std::size_t which;  ///< index into `texts`
  };
  std::vector<std::string> texts;  ///< each different one once: "Patient?identifier=..."
  std::vector<Place> places;       ///< in order
};

/// The references of `types` that fhir::ConditionalReference() wrote into `body`, a bundle as
/// fhir::TransactionBundle() writes it. Reads the bytes without parsing them: the writer is
/// compact, and a quotation mark inside a string is escaped, so no text can look like a reference.
/// What is not written as we write it (a site's addition may be) stays as it is.
Searches FindSearches(std::string_view body, const std::vector<std::string>& types);

/// `body` with literals[i] ("Patient/17", nothing to escape) wherever searches.texts[i] stood; the
/// identifier beside it stays. All else is byte for byte the frozen bundle.
std::string PutLiterals(std::string_view body, const Searches& searches,
                        const std::vector<std::string>& literals);

}  // namespace dwell::delivery
