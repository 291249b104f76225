#include "mapping/fhir/narrative.h"

namespace dwell::fhir {
namespace {

void AppendEscaped(std::string& html, std::string_view text) {
  for (std::size_t i = 0; i < text.size(); ++i) {
    const char c = text[i];
    if (c == '&') {
      html += "&amp;";
    } else if (c == '<') {
      html += "&lt;";
    } else if (c == '>') {
      html += "&gt;";
    } else if (c == '"') {
      html += "&quot;";
    } else if (static_cast<unsigned char>(c) < 0x20 && c != '\n' && c != '\t') {
      continue;
    } else if (text.substr(i).starts_with("\xEF\xBF\xBE") ||
               text.substr(i).starts_with("\xEF\xBF\xBF")) {
      i += 2;  // U+FFFE and U+FFFF
    } else {
      html += c;
    }
  }
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
