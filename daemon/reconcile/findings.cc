#include "daemon/reconcile/findings.h"

#include <algorithm>

#include "daemon/base/limits.h"
#include "schemas/base/check.h"

namespace dwell::reconcile {
namespace {

Finding Begin(const Item& item, Grade grade) {
  Finding finding;
  finding.line_seq = item.line_seq;
  finding.key = item.key;
  finding.ward = item.ward;
  finding.type = item.sent.type;
  finding.id = item.sent.id;
  finding.bundle_seq = item.sent.bundle_seq;
  finding.accepted_at = item.sent.at;
  finding.grade = grade;
  return finding;
}

}  // namespace

std::string_view GradeName(Grade grade) {
  switch (grade) {
    case Grade::kWrongPatient:
      return "wrong-patient";
    case Grade::kDoubled:
      return "doubled";
    case Grade::kMissing:
      return "missing";
    case Grade::kDiffers:
      return "differs";
    case Grade::kUnreadable:
      return "unreadable";
    case Grade::kForbidden:
      return "forbidden";
  }
  CHECK(false && "a grade without a name");
  return {};
}

Finding ForbiddenType(const Item& item, const ReadBack& back) {
  Finding finding;
  finding.type = item.sent.type;
  finding.grade = Grade::kForbidden;
  finding.why = back.why + "; ask who runs the endpoint to let dwelld read and search " +
                item.sent.type + " (with SMART: scope system/" + item.sent.type + ".rs)";
  return finding;
}

std::vector<Finding> FindingsOf(const Item& item, const ReadBack& back, const Compared& compared) {
  using Course = ReadBack::Course;
  if (back.course != Course::kHeld) {
    Finding finding = Begin(item, Grade::kUnreadable);
    if (back.course == Course::kMissing) finding.grade = Grade::kMissing;
    if (back.course == Course::kSeveral) finding.grade = Grade::kDoubled;
    finding.why = back.why;
    return {finding};
  }
  if (compared.differences.empty()) return {};
  Finding finding = Begin(item, compared.wrong_patient ? Grade::kWrongPatient : Grade::kDiffers);
  finding.changed_since =
      back.changed_at && *back.changed_at > item.sent.at + limits::kChangedSinceMargin;
  const std::size_t shown = std::min(compared.differences.size(), limits::kDifferencesMax);
  finding.differences.assign(compared.differences.begin(),
                             compared.differences.begin() + static_cast<std::ptrdiff_t>(shown));
  finding.more = compared.differences.size() - shown;
  return {finding};
}

bool IsToBeSent(const Finding& finding, bool overwrite) {
  if (finding.grade == Grade::kUnreadable || finding.grade == Grade::kForbidden ||
      finding.grade == Grade::kDoubled) {
    return false;
  }
  if (finding.is_final && finding.grade != Grade::kMissing) return false;
  return overwrite || !finding.changed_since;
}

void Tally::Add(const Finding& finding) {
  switch (finding.grade) {
    case Grade::kWrongPatient:
      ++wrong_patient;
      break;
    case Grade::kDoubled:
      ++doubled;
      break;
    case Grade::kMissing:
      ++missing;
      break;
    case Grade::kDiffers:
      ++differs;
      break;
    case Grade::kUnreadable:
      ++unreadable;
      break;
    case Grade::kForbidden:  // counted by resource
      break;
  }
  if (finding.changed_since) ++changed_since;
}

}  // namespace dwell::reconcile
