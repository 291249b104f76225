#include "daemon/operate/exposition.h"

#include <cstdio>

#include "daemon/intake/gate.h"
#include "schemas/base/check.h"

namespace dwell::operate {
namespace {

/// Backslash, line feed and, where the format says so, the quotation mark.
std::string Escaped(std::string_view text, bool quotes) {
  std::string out;
  for (const char c : text) {
    if (c == '\n') {
      out += "\\n";
      continue;
    }
    if (c == '\\' || (c == '"' && quotes)) out += '\\';
    out += c;
  }
  return out;
}

std::string_view TypeText(MetricType type, Exposition exposition) {
  switch (type) {
    case MetricType::kGauge:
      return "gauge";
    case MetricType::kCounter:
      return "counter";
    case MetricType::kInfo:  // the older format has none
      return exposition == Exposition::kOpenMetrics ? "info" : "gauge";
  }
  CHECK(false && "a type without a name");
  return {};
}

std::string_view SuffixOf(MetricType type) {
  if (type == MetricType::kCounter) return "_total";
  return type == MetricType::kInfo ? "_info" : "";
}

void WriteDescription(const Family& family, Exposition exposition, std::string& out) {
  const bool is_open = exposition == Exposition::kOpenMetrics;
  std::string name(family.name);
  if (!is_open) name += SuffixOf(family.type);  // there a family is called as its samples are
  out.append("# TYPE ").append(name).append(" ").append(TypeText(family.type, exposition));
  if (is_open && !family.unit.empty()) {
    CHECK(family.name.ends_with("_" + std::string(family.unit)));
    out.append("\n# UNIT ").append(name).append(" ").append(family.unit);
  }
  out.append("\n# HELP ").append(name).append(" ").append(Escaped(family.help, is_open));
  out.append("\n");
}

void WriteSample(const Family& family, const Sample& sample, std::string& out) {
  out.append(family.name).append(SuffixOf(family.type));
  char before = '{';
  for (const Label& label : sample.labels) {
    out.append(1, before).append(label.name).append("=\"").append(Escaped(label.value, true));
    out.append("\"");
    before = ',';
  }
  if (before == ',') out.append("}");
  out.append(" ").append(sample.value).append("\n");
}

std::string_view Trimmed(std::string_view text) {
  while (!text.empty() && (text.front() == ' ' || text.front() == '\t')) text.remove_prefix(1);
  while (!text.empty() && (text.back() == ' ' || text.back() == '\t')) text.remove_suffix(1);
  return text;
}

/// Takes what stands before the next `mark` off the front of `text`.
std::string_view TakeUntil(char mark, std::string_view& text) {
  const std::size_t at = text.find(mark);
  const std::string_view taken = text.substr(0, at);
  text.remove_prefix(at == std::string_view::npos ? text.size() : at + 1);
  return Trimmed(taken);
}

/// A weight "0.5" in thousandths (RFC 9110 section 12.4.2); what is none counts as 1000.
int Weight(std::string_view text) {
  if (text.empty() || (text.front() != '0' && text.front() != '1')) return 1000;
  int weight = (text.front() - '0') * 1000;
  int step = 100;
  for (const char c : text.substr(std::min<std::size_t>(text.size(), 2))) {
    if (c < '0' || c > '9' || step == 0) break;
    weight += (c - '0') * step;
    step /= 10;
  }
  return std::min(weight, 1000);
}

}  // namespace

Exposition ChooseExposition(std::string_view accept) {
  int open = -1, older = -1;  // not named
  while (!accept.empty()) {
    std::string_view range = TakeUntil(',', accept);
    const std::string_view type = TakeUntil(';', range);
    int weight = 1000;
    while (!range.empty()) {
      const std::string_view parameter = TakeUntil(';', range);
      if (intake::SameText(parameter.substr(0, 2), "q=")) weight = Weight(parameter.substr(2));
    }
    if (intake::SameText(type, "application/openmetrics-text")) open = std::max(open, weight);
    if (intake::SameText(type, "text/plain")) older = std::max(older, weight);
  }
  return older > open && older > 0 ? Exposition::kOlderText : Exposition::kOpenMetrics;
}

std::string_view ContentTypeOf(Exposition exposition) {
  return exposition == Exposition::kOpenMetrics
             ? "application/openmetrics-text; version=1.0.0; charset=utf-8"
             : "text/plain; version=0.0.4; charset=utf-8";
}

std::string Expose(std::span<const Family> families, Exposition exposition) {
  std::string out;
  for (const Family& family : families) {
    if (family.samples.empty()) continue;
    WriteDescription(family, exposition, out);
    for (const Sample& sample : family.samples) WriteSample(family, sample, out);
  }
  if (exposition == Exposition::kOpenMetrics) out.append("# EOF\n");
  return out;
}

std::string NumberText(std::uint64_t number) { return std::to_string(number); }

std::string SecondsText(std::chrono::milliseconds time) {
  const std::int64_t count = time.count();
  const std::uint64_t size = count < 0 ? std::uint64_t{0} - static_cast<std::uint64_t>(count)
                                       : static_cast<std::uint64_t>(count);
  char text[32];
  std::snprintf(text, sizeof text, "%s%llu.%03llu", count < 0 ? "-" : "",
                static_cast<unsigned long long>(size / 1000),
                static_cast<unsigned long long>(size % 1000));
  return text;
}

std::string TimestampText(Instant instant) { return SecondsText(instant.time_since_epoch()); }

}  // namespace dwell::operate
