#include "daemon/intake/outcome.h"

#include <algorithm>
#include <iterator>

#include "schemas/base/check.h"
#include "schemas/json/writer.h"

namespace dwell::intake {
namespace {

struct RuleType {
  std::string_view rule;
  std::string_view type;
};

// Codes of http://hl7.org/fhir/issue-type (FHIR R4, section 4.4.1.2.4); sorted by rule. A rule that
// is not here is one of a line's life: business-rule.
constexpr RuleType kTypes[] = {
    {"additionalProperties", "structure"},
    {"additionalItems", "structure"},
    {"allOf", "structure"},
    {"anyOf", "structure"},
    {"batch-too-large", "too-long"},
    {"body-too-large", "too-long"},
    {"busy", "transient"},
    {"check-digit", "value"},
    {"conflict", "conflict"},
    {"connections", "throttled"},
    {"content-type", "not-supported"},
    {"count", "too-costly"},
    {"date", "value"},
    {"date-time", "value"},
    {"dependencies", "structure"},
    {"depth", "too-costly"},
    {"draining", "transient"},
    {"duplicate-member", "structure"},
    {"encoding", "structure"},
    {"enum", "code-invalid"},
    {"event-too-large", "too-long"},
    {"format", "value"},
    {"head-too-large", "too-long"},
    {"in-the-future", "value"},
    {"line-damaged", "incomplete"},
    {"maxItems", "structure"},
    {"maxLength", "too-long"},
    {"maxProperties", "structure"},
    {"maximum", "value"},
    {"method", "not-supported"},
    {"minItems", "structure"},
    {"minLength", "value"},
    {"minProperties", "structure"},
    {"minimum", "value"},
    {"multipleOf", "value"},
    {"not", "structure"},
    {"not-found", "not-found"},
    {"nul", "structure"},
    {"oneOf", "structure"},
    {"other-content", "conflict"},
    {"parameter", "required"},
    {"pattern", "value"},
    {"required", "required"},
    {"size", "too-long"},
    {"syntax", "structure"},
    {"time-out", "timeout"},
    {"type", "structure"},
    {"udi-character", "value"},
    {"udi-check-digit", "value"},
    {"udi-date", "value"},
    {"udi-disagrees", "value"},
    {"udi-length", "value"},
    {"udi-separator", "value"},
    {"udi-unknown", "value"},
    {"uniqueItems", "duplicate"},
};

}  // namespace

std::string_view IssueType(std::string_view rule) {
  const auto* const found = std::find_if(std::begin(kTypes), std::end(kTypes),
                                         [rule](const RuleType& row) { return row.rule == rule; });
  return found == std::end(kTypes) ? "business-rule" : found->type;
}

std::string OperationOutcome(const std::vector<Issue>& issues, Severity severity) {
  CHECK(!issues.empty());
  schemas::JsonWriter out;
  out.BeginObject();
  out.Member("resourceType", "OperationOutcome");
  out.Name("issue");
  out.BeginArray();
  for (const Issue& issue : issues) {
    out.BeginObject();
    out.Member("severity", severity == Severity::kError ? "error" : "warning");
    out.Member("code", IssueType(issue.rule));
    out.Name("details");
    out.BeginObject();
    out.Name("coding");
    out.BeginArray();
    out.BeginObject();
    out.Member("system", kRuleSystem);
    out.Member("code", issue.rule);
    out.EndObject();
    out.EndArray();
    if (!issue.expected.empty()) out.Member("text", issue.expected);
    out.EndObject();
    if (!issue.pointer.empty()) {  // a FHIR string is never empty
      out.Name("expression");
      out.BeginArray();
      out.String(issue.pointer);
      out.EndArray();
    }
    out.EndObject();
  }
  out.EndArray();
  out.EndObject();
  return out.Take();
}

}  // namespace dwell::intake
