#include "mapping/explain/nowhere.h"

namespace dwell::explain {
namespace {

struct Reason {
  std::string_view kind;   ///< empty: every kind
  std::string_view field;  ///< the field itself, or what it is within
  std::string_view why;
};

constexpr Reason kReasons[] = {
    {"", "/extra", "kept with the event as it came; the contract says that it is never mapped"},
    {"", "/patient/second", "kept with the event only: a FHIR reference holds one identifier"},
    {"retraction", "/recorded_at",
     "only orders it among the corrections of the same event: the latest counts"},
    {"site-check", "/staff/1/role",
     "kept with the event only: an Observation names its performers without roles"},
    {"retraction", "/staff/1", "kept with the event only: the first one did it"},
    {"retraction", "/encounter",
     "kept with the event only: what is taken back keeps the encounter that it had"},
    {"retraction", "/place",
     "kept with the event only: what is taken back keeps the place that it had"},
};

bool IsWithin(std::string_view field, std::string_view outer) {
  return field.starts_with(outer) && (field.size() == outer.size() || field[outer.size()] == '/');
}

}  // namespace

std::string WhyNowhere(std::string_view kind, std::string_view field) {
  for (const Reason& reason : kReasons) {
    if ((reason.kind.empty() || reason.kind == kind) && IsWithin(field, reason.field)) {
      return std::string(reason.why);
    }
  }
  return "no resource shows it";
}

}  // namespace dwell::explain
