#include "daemon/delivery/issue.h"

#include <algorithm>
#include <array>

#include "daemon/delivery/bundle_shape.h"

namespace dwell::delivery {
namespace {

using schemas::Value;

struct Row {
  std::string_view code;
  Issue issue;
};

// "exception", also a transient one by its definition, is what some servers call everything that
// they did not foresee (common practice, no source): the status decides.
constexpr std::array kRows = {
    Row{"too-long", Issue::kTooLarge},    Row{"too-costly", Issue::kTooLarge},
    Row{"not-found", Issue::kMissing},    Row{"transient", Issue::kTransient},
    Row{"lock-error", Issue::kTransient}, Row{"no-store", Issue::kTransient},
    Row{"timeout", Issue::kTransient},    Row{"incomplete", Issue::kTransient},
    Row{"throttled", Issue::kTransient},  Row{"login", Issue::kLogin},
    Row{"expired", Issue::kLogin},        Row{"duplicate", Issue::kDuplicate},
};

Issue IssueOf(Value issue) {
  const auto code = issue.Find("code");
  if (!code || !code->is_string()) return Issue::kOther;
  const auto* const row = std::ranges::find(kRows, code->AsString(), &Row::code);
  return row == kRows.end() ? Issue::kOther : row->issue;
}

bool IsMild(Value issue) {
  return Says(issue, "severity", "information") || Says(issue, "severity", "warning");
}

/// kNone: there is no issue of that kind.
Issue Worst(Value issues, bool mild) {
  Issue worst = Issue::kNone;
  for (const Value issue : issues) {
    if (!issue.is_object() || IsMild(issue) != mild) continue;
    const Issue one = IssueOf(issue);
    if (worst == Issue::kNone || one == Issue::kOther) worst = one;
  }
  return worst;
}

}  // namespace

Issue ReadIssue(std::optional<Value> resource) {
  if (!resource || !resource->is_object()) return Issue::kNone;
  if (!Says(*resource, "resourceType", "OperationOutcome")) return Issue::kNone;
  const auto issues = resource->Find("issue");
  if (!issues || !issues->is_array()) return Issue::kOther;
  Issue worst = Worst(*issues, false);
  if (worst == Issue::kNone) worst = Worst(*issues, true);
  return worst == Issue::kNone ? Issue::kOther : worst;
}

Issue ReadIssue(std::string_view body) {
  const auto document = schemas::Document::Parse(body, kAnswerLimits);
  return document ? ReadIssue(document->root()) : Issue::kNone;
}

}  // namespace dwell::delivery
