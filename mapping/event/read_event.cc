// The common members of an event, and what must hold between members.
#include <array>

#include "mapping/event/event.h"
#include "mapping/event/identifiers.h"
#include "mapping/event/reader.h"

namespace dwell::event {
namespace {

using std::chrono::minutes;

// Clocks of ward devices differ by minutes: an entry may seem to be written a little before it
// happened.
constexpr minutes kClockDifferenceMax{5};

constexpr std::array<std::string_view, 6> kKindNames = {
    "insertion", "site-check", "flush", "dressing-change", "removal", "retraction"};

template <class T>
void ReadBody(Reader* reader, const Cursor& root, Body* body) {
  reader->Set(root, &body->emplace<T>());
}

// One reader per kind, in the order of Kind.
constexpr std::array kBodies = {ReadBody<Insertion>, ReadBody<SiteCheck>,
                                ReadBody<Flush>,     ReadBody<DressingChange>,
                                ReadBody<Removal>,   ReadBody<Retraction>};
static_assert(kBodies.size() == kKindNames.size());

void ReadCommon(Reader* reader, const Cursor& root, Event* event) {
  reader->Member(root, "id", &event->id);
  reader->Member(root, "source", &event->source);
  reader->Member(root, "happened_at", &event->happened);
  reader->Member(root, "happened_from", &event->happened);
  reader->Member(root, "happened_until", &event->happened_until);
  reader->Member(root, "recorded_at", &event->recorded_at);
  reader->Member(root, "patient", &event->patient);
  reader->Member(root, "encounter", &event->encounter);
  reader->Member(root, "place", &event->place);
  reader->Member(root, "staff", &event->staff);
  reader->Member(root, "line_id", &event->line_id);
  reader->Member(root, "replaces", &event->replaces);
  reader->Member(root, "note", &event->note);
  reader->Member(root, "patient_groups", &event->patient_groups);
  reader->Member(root, "infusions", &event->infusions);
}

void CheckTimes(Reader* reader, const Event& event) {
  if (event.happened_until && event.happened_until->instant < event.happened.instant) {
    reader->Problem("/happened_until", "until-before-from", "not before happened_from");
  }
  if (event.recorded_at.instant + kClockDifferenceMax < event.happened.instant) {
    reader->Problem("/recorded_at", "recorded-before-happened",
                    "not earlier than the time at which it happened");
  }
}

void CheckPatient(Reader* reader, Patient* patient) {
  const auto check = [reader](const std::string& system, std::string* value,
                              std::string_view pointer) {
    if (auto problem = CheckIdentifier(system, *value, pointer)) {
      reader->Problem(std::move(problem->pointer), problem->rule, problem->expected);
    } else {
      *value = NormalIdentifier(system, *value);
    }
  };
  check(patient->system, &patient->value, "/patient/value");
  if (patient->second)
    check(patient->second->system, &patient->second->value, "/patient/second/value");
}

/// What was scanned must be whole, and say the same as what staff entered beside it.
void CheckUdi(Reader* reader, Event* event) {
  auto* const insertion = std::get_if<Insertion>(&event->body);
  if (insertion == nullptr || !insertion->line || insertion->line->udi.empty()) return;
  LineDescription& line = *insertion->line;
  const auto problem = [reader](std::string_view rule, std::string_view expected) {
    reader->Problem("/line/udi", rule, expected);
  };
  const std::chrono::year_month_day day(
      std::chrono::floor<std::chrono::days>(event->happened.instant));
  auto udi = ParseUdi(line.udi, static_cast<int>(day.year()), line.lot);
  if (!udi) return problem(udi.error().rule, udi.error().expected);
  if (!line.lot.empty() && !udi->lot.empty() && line.lot != udi->lot) {
    problem("udi-disagrees", "the same lot as /line/lot");
  }
  if (!line.expiry.empty() && !udi->expires.empty() && !DatesAgree(line.expiry, udi->expires)) {
    problem("udi-disagrees", "the same expiry as /line/expiry");
  }
  line.udi_parts = *std::move(udi);
}

}  // namespace

std::string_view KindName(Kind kind) { return kKindNames.at(static_cast<std::size_t>(kind)); }

Result<Event, std::vector<Problem>> ReadEvent(schemas::Value document) {
  Reader reader;
  Event event;
  const Cursor root{document};
  ReadCommon(&reader, root, &event);
  std::string kind;
  reader.Member(root, "kind", &kind);
  bool known = false;
  for (std::size_t i = 0; i < kKindNames.size(); ++i) {
    if (kind != kKindNames[i]) continue;
    known = true;
    kBodies[i](&reader, root, &event.body);
  }
  if (!known) reader.Problem("/kind", "enum", "a kind of event of the contract");
  auto problems = reader.TakeProblems();
  if (problems.empty()) {  // the rest would only repeat them
    CheckTimes(&reader, event);
    CheckPatient(&reader, &event.patient);
    CheckUdi(&reader, &event);
    problems = reader.TakeProblems();
  }
  if (!problems.empty()) return problems;
  return event;
}

}  // namespace dwell::event
