// What was seen at the site: at a check, at a change of dressing and at removal; and the dwell
// time.
#include <algorithm>
#include <array>

#include "mapping/due/grades.h"
#include "mapping/fhir/observation.h"

namespace dwell::fhir {
namespace {

using event::Finding;
using event::Signs;

struct Sign {
  std::string_view code;
  Finding Signs::*finding;
};
constexpr std::array<Sign, 13> kSigns = {{
    {"pain", &Signs::pain},
    {"erythema", &Signs::erythema},
    {"swelling", &Signs::swelling},
    {"induration", &Signs::induration},
    {"palpable-cord", &Signs::palpable_cord},
    {"pyrexia", &Signs::pyrexia},
    {"streak", &Signs::streak},
    {"pus", &Signs::pus},
    {"leakage", &Signs::leakage},
    {"bleeding", &Signs::bleeding},
    {"bruising", &Signs::bruising},
    {"blanching", &Signs::blanching},
    {"coolness", &Signs::coolness},
}};

/// The grade is the value, its scale the code: the same grade means something else on another
/// scale.
void BeginGraded(Draft& draft, const std::optional<event::Grade>& grade, std::string_view ungraded,
                 std::string_view part_of) {
  ObservationHead head{.group = "record", .code = ungraded, .part_of = part_of};
  if (grade) {
    head.group = "scale";
    head.code = grade->scale;
    head.graded_as = ungraded;
  }
  BeginObservation(draft, head);
  if (!grade) return;
  draft.json().MemberInteger("valueInteger", grade->value);
  const codes::Found scale = draft.codes().Find("scale", grade->scale);
  draft.Tell(scale->text, std::to_string(grade->value));
  if (grade->version.empty()) return;
  draft.json().Name("method");
  draft.json().BeginObject();
  draft.json().Member("text", std::string(scale->text).append(", version ").append(grade->version));
  draft.json().EndObject();
  draft.Tell("Version of the scale", grade->version);
}

/// What the components of a computed grade are called, by its scale.
struct Computed {
  std::string_view scale, floor, ceiling, proven;
};
constexpr std::array<Computed, 2> kComputed = {{
    {due::kVisualInfusionPhlebitis, "phlebitis-grade-floor", "phlebitis-grade-ceiling",
     "phlebitis-grade-proven"},
    {due::kInsPhlebitis, "ins-phlebitis-grade-floor", "ins-phlebitis-grade-ceiling",
     "ins-phlebitis-grade-proven"},
}};

/// Signs, and what they say about the phlebitis grade: on the scale of the grade that staff
/// entered, which stays as it is; on the visual infusion phlebitis scale where they entered none.
void WriteSigns(Components& components, const Signs& signs,
                const std::optional<event::Grade>& grade) {
  for (const Sign& sign : kSigns) components.Finding("sign", sign.code, signs.*sign.finding);
  const std::string_view scale = grade ? std::string_view(grade->scale) : kComputed[0].scale;
  const auto row = std::ranges::find(kComputed, scale, &Computed::scale);
  if (row == kComputed.end()) return;
  if (const auto range = due::PhlebitisGradeRange(row->scale, signs)) {
    components.Integer(row->floor, range->floor);
    components.Integer(row->ceiling, range->ceiling);
  }
  const int proven = due::PhlebitisGradeProven(row->scale, signs);
  if (!grade || proven <= grade->value) return;
  components.Integer(row->proven, proven);
  components.Alarm("grade-discrepancy");
}

/// The grade that staff entered stays as it is; what proves more is told beside it. By what the
/// check itself says runs through the line.
void WriteInfiltration(Components& components, const event::Event& event,
                       const event::SiteCheck& check) {
  const auto& entered = check.infiltration_grade;
  if (entered) components.Integer("infiltration-grade", *entered);
  const bool harmful = event.infusions && due::IsHarmful(*event.infusions);
  const int proven = due::InfiltrationGradeProven(check.signs, check.measures, harmful);
  if (proven <= entered.value_or(0)) return;
  components.Integer("infiltration-grade-proven", proven);
  if (entered) components.Alarm("infiltration-grade-discrepancy");
}

void WriteMeasures(Components& components, const event::Measures& measures) {
  components.Quantity("redness-extent", measures.redness_mm, {"mm", "mm"});
  components.Quantity("swelling-extent", measures.swelling_mm, {"mm", "mm"});
  if (measures.pain_0_10) components.Integer("pain-score", *measures.pain_0_10);
  components.Quantity("body-temperature", measures.temperature_cel, {"°C", "Cel"});
}

}  // namespace

void MakeSiteCheck(Draft& draft) {
  const event::Event& event = *draft.item().entry->event;
  const auto& check = std::get<event::SiteCheck>(event.body);
  BeginGraded(draft, check.grade, "site-check", {});
  draft.Note(event);
  Components components(draft);
  WriteSigns(components, check.signs, check.grade);
  WriteMeasures(components, check.measures);
  WriteInfiltration(components, event, check);
  if (due::TrialPhlebitisOf(check.signs, check.measures) == due::TrialPhlebitis::kMet) {
    components.Alarm("phlebitis-by-definition");
  }
  if (check.dressing) {
    components.Coded("observation", "dressing-type", "dressing-type", check.dressing->type);
    const std::string& condition = check.dressing->condition;
    components.Coded("observation", "dressing-condition", "dressing-condition", condition,
                     condition != "intact");
  }
  components.Coded("observation", "patency", "patency", check.patency, check.patency == "blocked");
  components.Answer("observation", "still-needed", check.still_needed, true);
  for (const event::Code& action : check.action) {
    components.Coded("observation", "action-taken", "action", action);
  }
  CareComponents(components, event);
}

void MakeSiteAtRemoval(Draft& draft) {
  const line::Entry& entry = *draft.item().entry;
  const auto& removal = std::get<event::Removal>(entry.event->body);
  BeginGraded(draft, removal.grade, "site-at-removal", draft.scope().IdOf(entry, Role::kRemoval));
  Components components(draft);
  WriteSigns(components, removal.signs, removal.grade);
  components.Answer("observation", "tip-complete", removal.tip_complete, true);
  components.Answer("observation", "bleeding-stopped", removal.bleeding_stopped, true);
  components.Answer("observation", "tip-to-laboratory", removal.tip_to_laboratory, true);
}

void MakeDressingRecord(Draft& draft) {
  const line::Entry& entry = *draft.item().entry;
  const auto& change = std::get<event::DressingChange>(entry.event->body);
  BeginObservation(draft, {.group = "record",
                           .code = "dressing-record",
                           .of_procedure = true,
                           .part_of = draft.scope().IdOf(entry, Role::kDressingChange)});
  Components components(draft);
  components.Coded("observation", "dressing-condition", "dressing-condition", change.found,
                   change.found != "intact");
  components.Coded("observation", "dressing-type", "dressing-type", change.type);
  components.Lot("dressing-lot", change.lot);
  components.Answer("observation", "site-cleaned", change.site_cleaned, true);
}

void MakeDwellTime(Draft& draft) {
  const line::Entry& entry = *draft.item().entry;
  BeginObservation(draft, {.group = "record",
                           .code = "dwell-time",
                           .of_procedure = true,
                           .part_of = draft.scope().IdOf(entry, Role::kRemoval)});
  const std::string hours =
      FormatHours(entry.event->happened.instant - draft.item().partner->event->happened.instant);
  draft.json().Name("valueQuantity");
  WriteQuantity(draft.json(), hours, {"h", "h"});
  draft.Tell("Dwell time", hours + " h");
}

}  // namespace dwell::fhir
