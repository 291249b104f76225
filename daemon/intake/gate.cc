#include "daemon/intake/gate.h"

#include <algorithm>
#include <array>
#include <charconv>

#include "daemon/base/limits.h"

namespace dwell::intake {
namespace {

struct Field {
  std::string_view name;   ///< what stands before the colon
  std::string_view value;  ///< without the blanks around it
};

/// A head taken apart without judging it.
struct Parts {
  std::string_view bytes;
  std::string_view method, target, version;
  std::array<Field, limits::kHeaderFieldsMax> fields;
  std::size_t field_count = 0;
  std::size_t body_bytes_max = 0;
  bool request_line_whole = false;
  bool too_many_fields = false;
  bool folded = false;
  bool colon_missing = false;

  // The fields that decide about framing, with how often they occur.
  int hosts = 0, lengths = 0, codings = 0, expectations = 0, encodings = 0;
  std::string_view length, coding, expectation, encoding, content_type, accept;
};

char Lower(char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c + ('a' - 'A')) : c; }

bool IsTokenCharacter(char c) {  // RFC 9110 section 5.6.2
  if ((c >= '0' && c <= '9') || (Lower(c) >= 'a' && Lower(c) <= 'z')) return true;
  return c != '\0' && std::string_view("!#$%&'*+-.^_`|~").find(c) != std::string_view::npos;
}

bool IsToken(std::string_view text) {
  return !text.empty() && std::all_of(text.begin(), text.end(), IsTokenCharacter);
}

bool IsDigits(std::string_view text) {
  return !text.empty() &&
         std::all_of(text.begin(), text.end(), [](char c) { return c >= '0' && c <= '9'; });
}

std::string_view Trim(std::string_view text) {
  while (!text.empty() && (text.front() == ' ' || text.front() == '\t')) text.remove_prefix(1);
  while (!text.empty() && (text.back() == ' ' || text.back() == '\t')) text.remove_suffix(1);
  return text;
}

void ReadRequestLine(std::string_view line, Parts& parts) {
  const std::size_t first = line.find(' ');
  if (first == std::string_view::npos) return;
  const std::size_t second = line.find(' ', first + 1);
  if (second == std::string_view::npos) return;
  parts.method = line.substr(0, first);
  parts.target = line.substr(first + 1, second - first - 1);
  parts.version = line.substr(second + 1);
  parts.request_line_whole = true;
}

/// The fields that framing and routing depend on, by name.
struct Slot {
  std::string_view name;
  int Parts::*count;
  std::string_view Parts::*value;
};

constexpr Slot kSlots[] = {
    {"host", &Parts::hosts, nullptr},
    {"content-length", &Parts::lengths, &Parts::length},
    {"transfer-encoding", &Parts::codings, &Parts::coding},
    {"expect", &Parts::expectations, &Parts::expectation},
    {"content-encoding", &Parts::encodings, &Parts::encoding},
    {"content-type", nullptr, &Parts::content_type},
    {"accept", nullptr, &Parts::accept},
};

void ReadField(std::string_view line, Parts& parts) {
  if (line.front() == ' ' || line.front() == '\t') {
    parts.folded = true;
    return;
  }
  const std::size_t colon = line.find(':');
  if (colon == std::string_view::npos) {
    parts.colon_missing = true;
    return;
  }
  if (parts.field_count == limits::kHeaderFieldsMax) {
    parts.too_many_fields = true;
    return;
  }
  const Field field{line.substr(0, colon), Trim(line.substr(colon + 1))};
  parts.fields[parts.field_count++] = field;
  for (const Slot& slot : kSlots) {
    if (!SameText(field.name, slot.name)) continue;
    if (slot.count != nullptr) ++(parts.*slot.count);
    if (slot.value != nullptr) parts.*slot.value = field.value;
  }
}

void TakeApart(std::string_view bytes, Parts& parts) {
  parts.bytes = bytes;
  bool first = true;
  while (!bytes.empty()) {
    const std::size_t end = bytes.find('\n');
    std::string_view line = bytes.substr(0, end);
    bytes.remove_prefix(end == std::string_view::npos ? bytes.size() : end + 1);
    if (!line.empty() && line.back() == '\r') line.remove_suffix(1);
    if (first) {
      ReadRequestLine(line, parts);
    } else if (!line.empty()) {
      ReadField(line, parts);
    }
    first = false;
  }
}

bool LineEndsAreBare(const Parts& parts) {
  const std::string_view bytes = parts.bytes;
  for (std::size_t at = bytes.find_first_of("\r\n"); at != std::string_view::npos;
       at = bytes.find_first_of("\r\n", at + 2)) {
    if (bytes[at] != '\r' || at + 1 == bytes.size() || bytes[at + 1] != '\n') return true;
  }
  return false;
}

bool HasControlCharacter(const Parts& parts) {
  return std::any_of(parts.bytes.begin(), parts.bytes.end(), [](char c) {
    return (c >= 0 && c < ' ' && c != '\t' && c != '\r' && c != '\n') || c == 0x7f;
  });
}

bool TargetIsWrong(const Parts& parts) {
  return parts.target.empty() || parts.target.front() != '/' ||
         std::any_of(parts.target.begin(), parts.target.end(),
                     [](char c) { return c <= ' ' || c >= 0x7f || c == '#'; });
}

bool FieldNameIsWrong(const Parts& parts) {
  return parts.colon_missing ||
         std::any_of(parts.fields.begin(), parts.fields.begin() + parts.field_count,
                     [](const Field& field) { return !IsToken(field.name); });
}

bool HasBody(const Parts& parts) { return parts.lengths > 0 || parts.codings > 0; }

bool MethodNeedsBody(const Parts& parts) {
  return parts.method == "POST" || parts.method == "PUT" || parts.method == "PATCH";
}

/// Never overflows: nineteen digits fit into 64 bits.
bool LengthIsTooLarge(const Parts& parts) {
  std::uint64_t length = 0;
  std::from_chars(parts.length.data(), parts.length.data() + parts.length.size(), length);
  return parts.lengths == 1 && length > parts.body_bytes_max;
}

struct Row {
  GateRefusal refusal;
  bool (*refuses)(const Parts&);
};

// In this order: a row may rely on those before it.
constexpr Row kTable[] = {
    {{"head-too-large", 431, "a request head of at most 8 KiB and 64 fields"},
     [](const Parts& p) { return p.bytes.size() > limits::kHeadBytesMax || p.too_many_fields; }},
    {{"line-end", 400, "every line of the head ended by carriage return and line feed together"},
     LineEndsAreBare},
    {{"control-character", 400, "no control characters in the head"}, HasControlCharacter},
    {{"request-line", 400, "a request line of method, target and version, one blank between"},
     [](const Parts& p) { return !p.request_line_whole || !IsToken(p.method); }},
    {{"version-form", 400, "a version written HTTP/1.1"},
     [](const Parts& p) { return p.version.size() != 8 || !p.version.starts_with("HTTP/"); }},
    {{"version", 505, "HTTP/1.1 or HTTP/1.0"},
     [](const Parts& p) { return p.version != "HTTP/1.1" && p.version != "HTTP/1.0"; }},
    {{"target", 400,
      "a target that starts with / and has no blank, control or non-ASCII character"},
     TargetIsWrong},
    {{"folded-line", 400, "no field line that starts with a blank or tab"},
     [](const Parts& p) { return p.folded; }},
    {{"field-name", 400, "field lines of name, colon and value, no blank before the colon"},
     FieldNameIsWrong},
    {{"host", 400, "exactly one Host field"}, [](const Parts& p) { return p.hosts != 1; }},
    {{"transfer-encoding-version", 400, "no Transfer-Encoding in HTTP/1.0"},
     [](const Parts& p) { return p.codings > 0 && p.version == "HTTP/1.0"; }},
    {{"transfer-encoding", 400, "Transfer-Encoding absent, or once and exactly: chunked"},
     [](const Parts& p) {
       return p.codings > 1 || (p.codings == 1 && !SameText(p.coding, "chunked"));
     }},
    {{"two-framings", 400, "either Content-Length or Transfer-Encoding, not both"},
     [](const Parts& p) { return p.codings > 0 && p.lengths > 0; }},
    {{"content-length", 400, "at most one Content-Length, of digits only"},
     [](const Parts& p) {
       return p.lengths > 1 || (p.lengths == 1 && (!IsDigits(p.length) || p.length.size() > 19));
     }},
    {{"length-missing", 411, "Content-Length, or Transfer-Encoding: chunked"},
     [](const Parts& p) { return MethodNeedsBody(p) && !HasBody(p); }},
    {{"body-too-large", 413, "a smaller body: split the batch"}, LengthIsTooLarge},
    {{"content-encoding", 415, "a body without Content-Encoding"},
     [](const Parts& p) { return p.encodings > 0 && !SameText(p.encoding, "identity"); }},
    {{"expectation", 417, "no Expect field, or Expect: 100-continue"},
     [](const Parts& p) {
       return p.expectations > 1 ||
              (p.expectations == 1 && !SameText(p.expectation, "100-continue"));
     }},
};

}  // namespace

bool SameText(std::string_view left, std::string_view right) {
  return left.size() == right.size() &&
         std::equal(left.begin(), left.end(), right.begin(),
                    [](char a, char b) { return Lower(a) == Lower(b); });
}

std::optional<std::size_t> HeadSize(std::string_view bytes, std::size_t from) {
  for (std::size_t at = bytes.find('\n', from); at != std::string_view::npos;
       at = bytes.find('\n', at + 1)) {
    std::size_t next = at + 1;
    if (next < bytes.size() && bytes[next] == '\r') ++next;
    if (next < bytes.size() && bytes[next] == '\n') return next + 1;
  }
  return std::nullopt;
}

std::optional<GateRefusal> JudgeHead(std::string_view bytes, std::size_t body_bytes_max,
                                     GateHead& head) {
  Parts parts;
  parts.body_bytes_max = body_bytes_max;
  TakeApart(bytes, parts);
  for (const Row& row : kTable) {
    if (row.refuses(parts)) return row.refusal;
  }
  head.method = parts.method;
  head.target = parts.target;
  head.content_type = parts.content_type;
  head.accept = parts.accept;
  // RFC 9110 section 10.1.1: an HTTP/1.0 sender cannot mean it.
  head.continue_expected = parts.expectations == 1 && HasBody(parts) && parts.version != "HTTP/1.0";
  return std::nullopt;
}

}  // namespace dwell::intake
