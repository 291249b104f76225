#include "mapping/fhir/narrative.h"

#include <array>

namespace dwell::fhir {
namespace {

/// What stands for a byte that cannot go into xhtml as it is; empty: it is left out. Null: it can.
const char* Replacement(std::string_view text, std::size_t at) {
  switch (text[at]) {
    case '&':
      return "&amp;";
    case '<':
      return "&lt;";
    case '>':
      return "&gt;";
    case '"':
      return "&quot;";
    case '\n':
    case '\t':
      return nullptr;
    case '\xEF':  // may begin U+FFFE or U+FFFF
      return text.substr(at + 1).starts_with("\xBF\xBE") ||
                     text.substr(at + 1).starts_with("\xBF\xBF")
                 ? ""
                 : nullptr;
    default:
      return static_cast<unsigned char>(text[at]) < 0x20 ? "" : nullptr;
  }
}

/// Whether a byte may need a replacement at all.
constexpr auto kLookAt = [] {
  std::array<bool, 256> look{};
  for (std::size_t byte = 0; byte < 0x20; ++byte) look[byte] = true;
  for (const unsigned char byte : {'&', '<', '>', '"'}) look[byte] = true;
  look[0xEF] = true;
  return look;
}();

void AppendEscaped(std::string& html, std::string_view text) {
  std::size_t start = 0;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (!kLookAt[static_cast<unsigned char>(text[i])]) continue;
    const char* replacement = Replacement(text, i);
    if (replacement == nullptr) continue;
    html.append(text, start, i - start);
    html += replacement;
    if (text[i] == '\xEF') i += 2;
    start = i + 1;
  }
  if (start < text.size()) html.append(text, start);
}

}  // namespace

std::string Escape(std::string_view text) {
  std::string html;
  AppendEscaped(html, text);
  return html;
}

std::string ReadableTime(std::string_view rfc3339) {
  constexpr std::size_t kMinutes = 16;  // "2026-03-27T10:00"
  if (rfc3339.size() <= kMinutes) return std::string(rfc3339);
  std::string text(rfc3339.substr(0, kMinutes));
  text[10] = ' ';
  std::string_view rest = rfc3339.substr(kMinutes);
  const std::size_t offset = rest.find_first_of("Zz+-");
  const std::string_view seconds = rest.substr(0, offset);
  if (seconds != ":00") text += seconds;
  if (offset == std::string_view::npos) return text;
  rest.remove_prefix(offset);
  if (rest == "Z" || rest == "z") return text + " (UTC)";
  return text.append(" (").append(rest).append(")");
}

std::string ReadableTime(Instant instant, const due::Zone* zone) {
  return ReadableTime(zone != nullptr ? zone->Format(instant) : FormatInstant(instant));
}

Narrative::Narrative(std::string_view title) {
  html_.reserve(1024);
  html_ += "<div xmlns=\"http://www.w3.org/1999/xhtml\"><p><b>";
  AppendEscaped(html_, title);
  html_ += "</b></p><ul>";
}

void Narrative::Row(std::string_view label, std::string_view value) {
  html_ += "<li>";
  AppendEscaped(html_, label);
  if (!label.empty()) html_ += ": ";
  AppendEscaped(html_, value);
  html_ += "</li>";
}

std::string Narrative::Finish() {
  html_ += "</ul></div>";
  return std::move(html_);
}

}  // namespace dwell::fhir
