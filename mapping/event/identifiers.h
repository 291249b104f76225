// Check digits of patient identifiers, by the FHIR system that issued them. A failing check digit
// means a slip of the pen or a wrong patient: it is refused and never mended. A passing one proves
// only that the number was copied well, not whose it is. Where the check digit is not guaranteed, a
// failing one is a warning.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "mapping/event/event.h"

namespace dwell::event {

enum class Verdict : std::uint8_t {
  kPasses,         ///< the check digit is right
  kFails,          ///< form or check digit are wrong, and the system guarantees them
  kDoubtful,       ///< wrong, but the system does not guarantee it (Denmark since 2007)
  kUnknownSystem,  ///< we know no rule for this system
};

/// Judges `value` by the rule of `system`. Digits and letters must be written as the system writes
/// them; only the NHS number may carry a space or hyphen between its groups of 3, 3 and 4. Zeros
/// alone never pass. Source of each system: beside its row in identifiers.cc.
Verdict JudgeIdentifier(std::string_view system, std::string_view value);

/// The value as it is passed on: an NHS number without its separators, everything else unchanged.
std::string NormalIdentifier(std::string_view system, std::string_view value);

/// JudgeIdentifier as a problem at `pointer` (rule "check-digit") when it fails; else empty.
std::optional<Problem> CheckIdentifier(std::string_view system, std::string_view value,
                                       std::string_view pointer);

/// A number that looks wrong and may be right.
struct Doubt {
  std::string_view system;  ///< points into the patient
  Problem problem;          ///< never holds the number
};

/// The patient's identifiers that JudgeIdentifier calls doubtful, with their pointers into the
/// event. To be said as a warning: the event is taken as it is.
std::vector<Doubt> DoubtsAbout(const Patient& patient);

}  // namespace dwell::event
