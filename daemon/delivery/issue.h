// What an OperationOutcome says in its codes, as far as it changes what we do. Pure. Goes by codes
// alone: texts are the peer's own and differ from server to server.
#pragma once

#include <cstdint>
#include <optional>
#include <string_view>

#include "schemas/json/document.h"

namespace dwell::delivery {

/// FHIR R4 valueset-issue-type.html; R4B and R5 have the same codes.
enum class Issue : std::uint8_t {
  kNone,       ///< there is no OperationOutcome
  kOther,      ///< something that no waiting mends, or nothing that we know
  kTooLarge,   ///< too-long, too-costly
  kMissing,    ///< not-found: what the content refers to is not there
  kTransient,  ///< transient, lock-error, no-store, timeout, incomplete, throttled
  kLogin,      ///< login, expired: who asks must show anew who it is
  kDuplicate,  ///< duplicate: it is there already
};

/// Of `resource`, which need not be an OperationOutcome. Issues that are mere information or
/// warnings count only when there are no others. One error that is kOther makes the whole kOther:
/// what else is wrong does not matter then.
Issue ReadIssue(std::optional<schemas::Value> resource);

/// Of a body; kNone also when it is no legal JSON.
Issue ReadIssue(std::string_view body);

}  // namespace dwell::delivery
