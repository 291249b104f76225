// Decimal numbers as text (JSON grammar): compared exactly, never through a binary fraction.
#pragma once

#include <compare>
#include <string>
#include <string_view>

namespace dwell::schemas {

/// The order of two JSON numbers by value: "2.50" equals "2.5" equals "25e-1". Exponents may have
/// any number of digits; beyond a billion in size they count as a billion.
std::strong_ordering CompareDecimals(std::string_view left, std::string_view right);

/// True when the text has neither fraction nor exponent ("1.0" and "1e2" are no integers here).
bool IsIntegerText(std::string_view number);

/// One spelling for each value, so that equal numbers have equal texts. For sets and comparisons.
std::string CanonicalDecimal(std::string_view number);

}  // namespace dwell::schemas
