// What the endpoint's answer to a search for a patient or an encounter means: (answer, what was
// searched) -> the one resource, or why there is none to name. One table, pure. Never a guess: a
// resource at the wrong patient is worse than a late one.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/delivery/verdict.h"
#include "schemas/base/result.h"
#include "schemas/json/document.h"

namespace dwell::delivery {

/// How the answer to a search reads. FHIR R4 search.html and bundle.html#searchset; R4B and R5 say
/// the same.
enum class Finding : std::uint8_t {
  kOne,           ///< exactly one, of the right type, with the identifier, in force
  kNone,          ///< nobody has that identifier
  kSeveral,       ///< more than one entry, a total above one, or another page
  kIgnored,       ///< a match without the identifier: the parameter was ignored (R4 allows that,
                  ///< search.html#errors) or the server did not let us see
  kDisagrees,     ///< total and entries contradict each other
  kReplaced,      ///< Patient.link of type replaced-by: merged into another
  kInactive,      ///< Patient.active is false
  kEnteredWrong,  ///< Encounter.status entered-in-error
  kPartial,       ///< an error is reported beside the matches: there may be more
  kUnclear,       ///< a match without a legal id, a total that is no count
  kOther,         ///< JSON, but no Bundle of type searchset
  kNotJson,       ///< empty, cut off or something else
};

/// A resource of the endpoint.
struct Found {
  std::string literal;  ///< "Patient/17"
  std::string subject;  ///< of an encounter that says so: "Patient/17"
};

struct Match {
  Finding finding = Finding::kNotJson;
  Found found;  ///< for kOne
};

/// How many resources the search found, whether or not they are still in force, and the one for
/// kOne; kOther when `answer` is no search result. `search` is "Type?identifier=..." as
/// fhir::ConditionalReference() writes it, or likewise "Type?_tag=...".
struct Counted {
  Finding finding = Finding::kOther;
  std::optional<schemas::Value> resource;
};
Counted CountFound(schemas::Value answer, std::string_view search);

/// Reads a body. `search` as FindSearches() gives it.
Match ReadMatch(std::string_view body, std::string_view search);

/// The target of the request for `search` below the base URL: asks for no more than two matches,
/// and of each only for what is judged here.
std::string SearchTarget(std::string_view base, std::string_view search);

/// The whole answer. What is no answer to the search at all (no connection, a status other than
/// 2xx) means what it means for a bundle, but is never uncertain: a search writes nothing.
Result<Found, Verdict> JudgeSearch(const net::Exchange& exchange, std::string_view search,
                                   const Sent& sent, Instant now);

/// Whether one of the encounters belongs to none of the patients of the same bundle. Encounters
/// that do not say, and bundles without a patient that was looked up, contradict nothing.
bool ContradictEachOther(const std::vector<Found>& found);
/// What that means.
Verdict Contradiction();

/// Whether the endpoint's answer to a bundle may be about an id that we put into it: it is gone,
/// or merged meanwhile. By status alone, since servers word it differently.
bool MayBlameAnId(const Verdict& verdict);

}  // namespace dwell::delivery
