// Unique device identifiers as a scanner sends them or a label prints them: GS1 element strings and
// HIBC supplier labels taken apart. What is broken or can be read in two ways is refused and never
// mended; what belongs to neither issuer stays a text without parts.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "schemas/base/result.h"

namespace dwell::event {

enum class UdiIssuer : std::uint8_t { kUnknown, kGs1, kHibcc };

/// A part we have no field for: a GS1 application identifier or HIBC data identifier, its value.
struct UdiPart {
  std::string name;
  std::string value;
  friend bool operator==(const UdiPart&, const UdiPart&) = default;
};

/// The parts; all are empty for a text of an unknown issuer. Dates are "YYYY-MM-DD", or "YYYY-MM"
/// where an HIBC label says no day.
struct Udi {
  UdiIssuer issuer = UdiIssuer::kUnknown;
  std::string device;  ///< GTIN of 14 digits; HIBC labeler, product and unit of measure without '+'
                       ///< and check character; empty when a second symbol was scanned alone
  std::string produced;
  std::string expires;
  std::string lot;
  std::string serial;
  std::vector<UdiPart> other;
};

/// Why a text that is recognisably GS1 or HIBC is refused; both are constants. Rules:
/// udi-check-digit, udi-separator (a field without end may hold another one), udi-length,
/// udi-character, udi-date, udi-unknown (a field or use nobody defines), udi-disagrees (two parts
/// say different things).
struct UdiFault {
  std::string_view rule;
  std::string_view expected;
};

/// Takes `scanned` apart. `year` is that of the event: two digits of a year mean the one within 50
/// years of it (GS1 General Specifications, section 7.12). `known_lot`, when not empty, is the lot
/// that staff gave: a last field that equals it needs no separator to be sure of its end.
/// Forms: GS1 with or without symbology identifier ("]d2", ISO/IEC 15424), separators U+001D, or
/// with its identifiers in parentheses or braces; HIBC (ANSI/HIBC 2.6) "+...", primary, secondary
/// or both, perhaps between asterisks.
Result<Udi, UdiFault> ParseUdi(std::string_view scanned, int year, std::string_view known_lot = {});

/// Whether `scanned` is what a scanner sends and not what a person reads: it has a symbology
/// identifier or characters below U+0020.
bool IsScannerForm(std::string_view scanned);

/// Whether 8, 12, 13, 14 or 18 digits end with the right check digit: weights 3, 1, 3, ... from the
/// right, sum modulo 10 (GS1 General Specifications, section 7.9).
bool Gs1CheckDigitPasses(std::string_view digits);

/// Whether two dates "YYYY-MM" or "YYYY-MM-DD" can mean the same day; a month agrees with its days.
bool DatesAgree(std::string_view one, std::string_view other);

}  // namespace dwell::event
