// Check digits of code systems that carry one. A passing one proves that a code was copied well,
// not what it means.
#pragma once

#include <optional>
#include <string_view>

namespace dwell::codes {

inline constexpr std::string_view kSnomedCt = "http://snomed.info/sct";
inline constexpr std::string_view kLoinc = "http://loinc.org";

/// Verhoeff's check over a number of decimal digits, its check digit included (J. Verhoeff, Error
/// Detecting Decimal Codes, Mathematical Centre Tracts 29, 1969). False for anything else.
bool PassesVerhoeff(std::string_view digits);

/// Whether it is the identifier of a SNOMED CT concept: 6 to 18 digits, partition 00 or 10, a right
/// check digit (SNOMED CT Release File Specification, "SCTID Data Type", "Partition Identifier",
/// "Check-digit").
bool IsSnomedConceptId(std::string_view code);

/// Whether it is a LOINC number: 1 to 7 digits, a hyphen and the mod-10 check digit over them
/// (LOINC Users' Guide, appendix on the check digit; the algorithm is Luhn's).
bool IsLoincNumber(std::string_view code);

/// What would have been right, when `code` cannot be one of `system`; empty when it can, and for
/// systems without check digits. An expression of SNOMED CT (compositional grammar) and a LOINC
/// part or answer ("LP...", "LA...") pass unchecked.
std::optional<std::string_view> WrongForm(std::string_view system, std::string_view code);

}  // namespace dwell::codes
