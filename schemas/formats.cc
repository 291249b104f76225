#include "schemas/formats.h"

#include <algorithm>
#include <array>
#include <cstdint>
#include <cstring>

#include "schemas/calendar.h"
#include "schemas/decimal.h"
#include "schemas/xhtml.h"

namespace dwell::schemas {
namespace {

constexpr bool IsDigit(char c) { return c >= '0' && c <= '9'; }
constexpr bool IsLower(char c) { return c >= 'a' && c <= 'z'; }
constexpr bool IsLetter(char c) { return IsLower(c) || (c >= 'A' && c <= 'Z'); }
/// White space as in the patterns of FHIR R4: the ASCII ones only.
bool IsSpace(char c) { return c == ' ' || (c >= '\t' && c <= '\r'); }
bool IsControl(char c) { return (c >= 0 && c < 0x20) || c == 0x7F; }
bool IsLowerHex(char c) { return IsDigit(c) || (c >= 'a' && c <= 'f'); }

template <class Predicate>
bool All(std::string_view text, Predicate is) {
  return std::all_of(text.begin(), text.end(), is);
}

/// Whether every byte is kMin or more, by eights: a byte's top bit is set in the term when the byte
/// (or, harmlessly, one above it) is less.
template <unsigned char kMin>
bool AllAtLeast(std::string_view text) {
  constexpr std::uint64_t kOnes = 0x0101010101010101U;
  std::uint64_t low = 0;
  while (text.size() >= sizeof low) {
    std::uint64_t word = 0;
    std::memcpy(&word, text.data(), sizeof word);
    low |= (word - kOnes * kMin) & ~word;
    text.remove_prefix(sizeof word);
  }
  return (low & (kOnes * 0x80)) == 0 &&
         All(text, [](char c) { return static_cast<unsigned char>(c) >= kMin; });
}

// FHIR R4 (4.0.1), hl7.org/fhir/R4/datatypes.html: the pattern of each primitive type.

/// The bytes that an id may have.
constexpr auto kInId = [] {
  std::array<bool, 256> in_id{};
  for (std::size_t byte = 0; byte < 128; ++byte) {
    const char c = static_cast<char>(byte);
    in_id[byte] = IsLetter(c) || IsDigit(c) || c == '-' || c == '.';
  }
  return in_id;
}();

bool IsFhirId(std::string_view text) {
  return !text.empty() && text.size() <= 64 &&
         All(text, [](char c) { return kInId[static_cast<unsigned char>(c)]; });
}

/// No white space at the ends, none doubled inside.
bool IsFhirCode(std::string_view text) {
  if (AllAtLeast<0x21>(text)) return !text.empty();
  bool space_before = true;
  for (char c : text) {
    const bool space = IsSpace(c);
    if (c == '\v' || c == '\f' || (space && space_before)) return false;
    space_before = space;
  }
  return !space_before;
}

bool IsFhirUri(std::string_view text) {
  if (AllAtLeast<0x21>(text)) return !text.empty();
  return std::none_of(text.begin(), text.end(), IsSpace);
}

/// Not empty; of the characters below U+0020 only tab, line feed and carriage return.
bool IsFhirString(std::string_view text) {
  if (AllAtLeast<0x20>(text)) return !text.empty();
  return All(text,
             [](char c) { return c < 0 || c >= 0x20 || c == '\t' || c == '\n' || c == '\r'; });
}

/// RFC 4648 base 64, white space between the groups of four.
bool IsFhirBase64(std::string_view text) {
  std::size_t digits = 0;
  std::size_t padding = 0;
  for (char c : text) {
    if (IsSpace(c)) {
      if (digits % 4 != 0) return false;
      continue;
    }
    if (c == '=') {
      ++padding;
    } else if (padding > 0 || !(IsLetter(c) || IsDigit(c) || c == '+' || c == '/')) {
      return false;
    }
    ++digits;
  }
  return digits > 0 && digits % 4 == 0 && padding <= 2;
}

/// JSON's grammar of numbers is FHIR's of decimals; written out because texts are checked as well.
bool IsFhirDecimal(std::string_view text) {
  const auto digits = [&text] {
    const std::size_t count = static_cast<std::size_t>(
        std::find_if_not(text.begin(), text.end(), IsDigit) - text.begin());
    text.remove_prefix(count);
    return count;
  };
  if (text.starts_with('-')) text.remove_prefix(1);
  const bool zero = text.starts_with('0');
  const std::size_t whole = digits();
  if (whole == 0 || (zero && whole > 1)) return false;
  if (text.starts_with('.')) {
    text.remove_prefix(1);
    if (digits() == 0) return false;
  }
  if (text.starts_with('e') || text.starts_with('E')) {
    text.remove_prefix(1);
    if (text.starts_with('+') || text.starts_with('-')) text.remove_prefix(1);
    if (digits() == 0) return false;
  }
  return text.empty();
}

bool IsIntegerBetween(std::string_view text, std::string_view min, std::string_view max) {
  return IsFhirDecimal(text) && IsIntegerText(text) && std::is_gteq(CompareDecimals(text, min)) &&
         std::is_lteq(CompareDecimals(text, max));
}
bool IsFhirInteger(std::string_view text) {
  return IsIntegerBetween(text, "-2147483648", "2147483647");
}
bool IsFhirPositiveInt(std::string_view text) { return IsIntegerBetween(text, "1", "2147483647"); }
bool IsFhirUnsignedInt(std::string_view text) {
  return !text.starts_with('-') && IsIntegerBetween(text, "0", "2147483647");
}

/// FHIR R5 writes integers of 64 bits as text, and allows a plus sign: [0]|[-+]?[1-9][0-9]*.
bool IsFhirInteger64(std::string_view text) {
  if (text == "0") return true;
  const bool plus = text.starts_with('+');
  if (plus) text.remove_prefix(1);
  const std::string_view digits = text.substr(!plus && text.starts_with('-') ? 1 : 0);
  return !digits.empty() && digits[0] != '0' && All(digits, IsDigit) &&
         IsIntegerBetween(text, "-9223372036854775808", "9223372036854775807");
}

/// urn:oid:[0-2](\.(0|[1-9][0-9]*))+
bool IsFhirOid(std::string_view text) {
  constexpr std::string_view kScheme = "urn:oid:";
  if (!text.starts_with(kScheme)) return false;
  text.remove_prefix(kScheme.size());
  if (text.size() < 3 || text[0] < '0' || text[0] > '2') return false;
  text.remove_prefix(1);
  while (!text.empty()) {
    if (text[0] != '.') return false;
    const std::size_t end = std::min(text.find('.', 1), text.size());
    const std::string_view part = text.substr(1, end - 1);
    if (part.empty() || !All(part, IsDigit) || (part.size() > 1 && part[0] == '0')) return false;
    text.remove_prefix(end);
  }
  return true;
}

/// urn:uuid: and 8-4-4-4-12 hexadecimal digits, lower case.
bool IsFhirUuid(std::string_view text) {
  constexpr std::string_view kShape = "urn:uuid:xxxxxxxx-xxxx-xxxx-xxxx-xxxxxxxxxxxx";
  return text.size() == kShape.size() &&
         std::equal(text.begin(), text.end(), kShape.begin(),
                    [](char c, char shape) { return shape == 'x' ? IsLowerHex(c) : c == shape; });
}

// The event contract.

bool IsVisibleAscii(std::string_view text) {
  return !text.empty() && All(text, [](char c) { return c > 0x20 && c < 0x7F; });
}

bool IsOneLine(std::string_view text) {
  return !text.empty() && std::none_of(text.begin(), text.end(), IsControl) &&
         text.front() != ' ' && text.back() != ' ';
}

/// Symbols of a barcode as a scanner sends them: ASCII with the separators that GS1 element strings
/// (U+001D) and ISO/IEC 15434 envelopes (U+001D, U+001E, U+0004) contain.
bool IsScanned(std::string_view text) {
  return !text.empty() && All(text, [](char c) {
    return (c >= 0x20 && c < 0x7F) || c == 0x1D || c == 0x1E || c == 0x04;
  });
}

/// RFC 3986: a scheme, ':', and at least one more character; printable ASCII without the characters
/// that no URI contains.
bool IsAbsoluteUri(std::string_view text) {
  const std::size_t colon = text.find(':');
  if (colon == std::string_view::npos || colon == 0 || colon + 1 == text.size()) return false;
  if (!IsLetter(text[0]) || !All(text.substr(0, colon), [](char c) {
        return IsLetter(c) || IsDigit(c) || c == '+' || c == '-' || c == '.';
      })) {
    return false;
  }
  return IsVisibleAscii(text) && text.find_first_of("\"<>\\^`{|}") == std::string_view::npos;
}

/// Digits, perhaps a sign and a fraction, at most 18 digits: what a person measures or writes down.
bool IsPlainDecimal(std::string_view text) {
  return IsFhirDecimal(text) && text.find_first_of("eE") == std::string_view::npos &&
         std::count_if(text.begin(), text.end(), IsDigit) <= 18;
}

/// ^[a-z0-9]+([.-][a-z0-9]+)*$
bool IsCodeWords(std::string_view text) {
  bool word_before = false;
  for (char c : text) {
    const bool word = IsLower(c) || IsDigit(c);
    if (!word && (!word_before || (c != '-' && c != '.'))) return false;
    word_before = word;
  }
  return word_before;
}

constexpr std::array kFormats = {
    Format{"fhir-id", false, IsFhirId, "1 to 64 letters, digits, '-' or '.'"},
    Format{"fhir-code", false, IsFhirCode, "text without white space at its ends or doubled"},
    Format{"fhir-uri", false, IsFhirUri, "a URI: not empty, no white space"},
    Format{"fhir-date", false, IsFhirDate, "a date: YYYY, YYYY-MM or YYYY-MM-DD, that exists"},
    Format{"fhir-dateTime", false, IsFhirDateTime,
           "a date that exists, or date and time with seconds and offset"},
    Format{"fhir-instant", false, IsFhirInstant,
           "a date that exists, time with seconds, and offset"},
    Format{"fhir-time", false, IsFhirTime, "a time: hh:mm:ss"},
    Format{"fhir-base64Binary", false, IsFhirBase64, "base 64"},
    Format{"fhir-decimal", true, IsFhirDecimal, "a decimal number"},
    Format{"fhir-integer", true, IsFhirInteger, "a whole number of 32 bits"},
    Format{"fhir-positiveInt", true, IsFhirPositiveInt, "a whole number from 1 to 2147483647"},
    Format{"fhir-unsignedInt", true, IsFhirUnsignedInt, "a whole number from 0 to 2147483647"},
    Format{"fhir-integer64", false, IsFhirInteger64, "a whole number of 64 bits, as text"},
    Format{"fhir-string", false, IsFhirString, "text without control characters, not empty"},
    Format{"fhir-markdown", false, IsFhirString, "text without control characters, not empty"},
    Format{"fhir-oid", false, IsFhirOid, "urn:oid: and an object identifier"},
    Format{"fhir-uuid", false, IsFhirUuid, "urn:uuid: and a UUID in lower case"},
    Format{
        "fhir-xhtml", false, IsNarrativeXhtml,
        "a well-formed XHTML div with content, in its namespace, with the elements and attributes "
        "that FHIR allows"},
    Format{"moment", false, IsMoment,
           "date and time with seconds and offset (RFC 3339), on a day that exists"},
    Format{"date-or-month", false, IsDateOrMonth, "YYYY-MM or YYYY-MM-DD, that exists"},
    Format{"absolute-uri", false, IsAbsoluteUri, "an absolute URI (RFC 3986)"},
    Format{"visible-ascii", false, IsVisibleAscii, "ASCII letters, digits and signs, no space"},
    Format{"one-line", false, IsOneLine,
           "text without control characters and without spaces at its ends"},
    Format{"scanned", false, IsScanned, "ASCII as a scanner sends it"},
    Format{"plain-decimal", true, IsPlainDecimal,
           "a number without exponent and with at most 18 digits"},
};

constexpr std::array kPatterns = {
    Format{"^[a-z0-9]+([.-][a-z0-9]+)*$", false, IsCodeWords,
           "a code: lower case words and digits joined by '-' or '.'"},
};

template <std::size_t N>
const Format* Find(const std::array<Format, N>& table, std::string_view name) {
  for (const Format& row : table) {
    if (row.name == name) return &row;
  }
  return nullptr;
}

}  // namespace

const Format* FindFormat(std::string_view name) { return Find(kFormats, name); }
const Format* FindPattern(std::string_view pattern) { return Find(kPatterns, pattern); }

}  // namespace dwell::schemas
