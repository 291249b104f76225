// What is wrong with a request, or looks wrong, as a FHIR R4 OperationOutcome. Pure. Says where and
// what was expected; never a value from the input.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

namespace dwell::intake {

/// One reason for a refusal, or for a warning.
struct Issue {
  std::string rule;      ///< which check failed, e.g. "required", "second-insertion"
  std::string pointer;   ///< JSON Pointer (RFC 6901) into the event; empty: the whole
  std::string expected;  ///< what would have been right, in words
};

/// The code system of our rules, `details.coding` of every issue.
inline constexpr std::string_view kRuleSystem = "https://dwelld.example/fhir/CodeSystem/rule";

/// The code of the required binding http://hl7.org/fhir/issue-type for one of our rules.
std::string_view IssueType(std::string_view rule);

/// Codes of the required binding http://hl7.org/fhir/issue-severity that we use.
enum class Severity : std::uint8_t {
  kError,    ///< refused
  kWarning,  ///< taken, and somebody should look
};

/// An OperationOutcome resource with one issue for each of `issues` (at least one).
std::string OperationOutcome(const std::vector<Issue>& issues,
                             Severity severity = Severity::kError);

/// From anything with the members pointer, rule and expected: schemas::Violation, event::Problem,
/// schemas::ParseProblem, line::Contradiction.
template <class Finding>
Issue IssueOf(const Finding& finding) {
  return {finding.rule, finding.pointer, finding.expected};
}

template <class Finding>
std::vector<Issue> IssuesOf(const std::vector<Finding>& findings) {
  std::vector<Issue> issues;
  issues.reserve(findings.size());
  for (const Finding& finding : findings) issues.push_back(IssueOf(finding));
  return issues;
}

}  // namespace dwell::intake
