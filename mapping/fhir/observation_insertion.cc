// The insertion record: how the insertion was prepared and done, with the aseptic steps judged
// together; and the flush records.
#include <array>

#include "mapping/fhir/observation.h"
#include "schemas/base/check.h"

namespace dwell::fhir {
namespace {

using event::Answer;
using event::Preparation;

struct Step {
  std::string_view code;
  Answer Preparation::*answer;
  bool aseptic;  ///< counts for "aseptic steps complete"
};
constexpr std::array<Step, 9> kSteps = {{
    {"identity-checked", &Preparation::identity_checked, false},
    {"consent", &Preparation::consent, false},
    {"hands-decontaminated", &Preparation::hands_decontaminated, true},
    {"gloves", &Preparation::gloves, true},
    {"apron", &Preparation::apron, true},
    {"equipment-in-date", &Preparation::equipment_in_date, true},
    {"surface-cleaned", &Preparation::surface_cleaned, true},
    {"key-parts-untouched", &Preparation::key_parts_untouched, true},
    {"hub-disinfected", &Preparation::hub_disinfected, true},
}};

Answer Opposite(Answer answer) {
  if (answer == Answer::kNotKnown) return answer;
  return answer == Answer::kYes ? Answer::kNo : Answer::kYes;
}

/// Whether something was left to dry at all. How long is long enough is for local policy to say.
Answer Dried(const std::optional<event::Decimal>& time) {
  if (!time) return Answer::kNotKnown;
  return time->text.find_first_of("123456789") != std::string::npos ? Answer::kYes : Answer::kNo;
}

/// The aseptic steps together: one answered no is missing; complete only when all are answered yes.
class Asepsis {
 public:
  void Count(std::string_view step, Answer answer) {
    if (answer == Answer::kNo) missing_[missing_count_++] = step;
    unanswered_ = unanswered_ || answer == Answer::kNotKnown;
  }
  void Write(Components& components) const {
    const Answer complete = missing_count_ > 0 ? Answer::kNo
                            : unanswered_      ? Answer::kNotKnown
                                               : Answer::kYes;
    components.Answer("observation", "aseptic-bundle-complete", complete);
    for (std::size_t i = 0; i < missing_count_; ++i) {
      components.Coded("observation", "aseptic-step-missing", "step", missing_[i], true);
    }
  }
  void NothingTold() { unanswered_ = true; }

 private:
  std::array<std::string_view, kSteps.size() + 3> missing_;
  std::size_t missing_count_ = 0;
  bool unanswered_ = false;
};

void WritePreparation(Components& components, const event::Insertion& insertion) {
  Asepsis asepsis;
  if (!insertion.preparation) {
    asepsis.NothingTold();
    return asepsis.Write(components);
  }
  const Preparation& told = *insertion.preparation;
  for (const Step& step : kSteps) {
    components.Answer("step", step.code, told.*step.answer);
    if (step.aseptic) asepsis.Count(step.code, told.*step.answer);
  }
  components.Quantity("surface-dried-time", told.surface_dried_min, {"min", "min"});
  components.Coded("observation", "skin-antiseptic", "antiseptic", told.skin_antiseptic);
  components.Quantity("skin-dried-time", told.skin_dried_s, {"s", "s"});
  components.Answer("step", "site-touched-again", told.site_touched_again);
  asepsis.Count("skin-antisepsis", told.skin_antiseptic.empty() ? Answer::kNotKnown : Answer::kYes);
  asepsis.Count("skin-dried", Dried(told.skin_dried_s));
  asepsis.Count("site-untouched", Opposite(told.site_touched_again));
  asepsis.Write(components);
}

}  // namespace

void MakeInsertionRecord(Draft& draft) {
  const line::Entry& entry = *draft.item().entry;
  const auto& insertion = std::get<event::Insertion>(entry.event->body);
  const Primary primary = PrimaryOf(*entry.event);
  BeginObservation(draft, {.group = "record",
                           .code = "insertion-record",
                           .of_procedure = true,
                           .part_of = draft.scope().IdOf(entry, primary.role, primary.number)});
  if (primary.role == Role::kAttempt) draft.Note(*entry.event);
  Components components(draft);
  components.Coded("observation", "insertion-setting", "setting",
                   insertion.emergency ? "emergency" : "planned");
  components.Coded("observation", "not-placed-reason", "reason", insertion.reason);
  const bool tried =
      insertion.outcome == event::Outcome::kPlaced || primary.role == Role::kInsertion;
  const bool not_done = insertion.outcome == event::Outcome::kDeclined ||
                        insertion.outcome == event::Outcome::kNotAttempted;
  components.Integer("attempts", static_cast<std::int64_t>(insertion.attempts.size()) +
                                     (tried && !not_done ? 1 : 0));
  if (insertion.site) {
    components.Coded("observation", "laterality", "side", insertion.site->side);
  }
  WritePreparation(components, insertion);
  components.Finding("observation", "blood-on-entry", insertion.blood_on_entry);
  components.Finding("observation", "blood-on-advance", insertion.blood_on_advance);
  components.Answer("observation", "extension-primed", insertion.extension_primed, true);
  components.Answer("observation", "extension-clamped", insertion.extension_clamped, true);
  if (insertion.dressing) {
    components.Coded("observation", "dressing-type", "dressing-type", insertion.dressing->type);
    components.Coded("observation", "dressing-condition", "dressing-condition",
                     insertion.dressing->condition);
  }
  components.Answer("observation", "date-label", insertion.date_label, true);
  components.Answer("observation", "patient-told", insertion.patient_told, true);
  CareComponents(components, *entry.event);
}

void MakeFlushRecord(Draft& draft) {
  const line::Entry& entry = *draft.item().entry;
  const event::Body& body = entry.event->body;
  const bool first = draft.item().role == Role::kFirstFlush;
  const Primary primary = PrimaryOf(*entry.event);
  const bool of_procedure = Row(primary.role).type == "Procedure";
  const std::string part_of =
      of_procedure ? draft.scope().IdOf(entry, primary.role, primary.number) : std::string();
  BeginObservation(draft, {.group = "record",
                           .code = first ? "first-flush" : "flush-record",
                           .of_procedure = true,
                           .part_of = part_of});
  Components components(draft);
  if (const auto* insertion = std::get_if<event::Insertion>(&body)) {
    FlushComponents(components, *insertion->flush);
  } else if (const auto* check = std::get_if<event::SiteCheck>(&body)) {
    FlushComponents(components, *check->flush);
  } else {
    const auto& flush = std::get<event::Flush>(body);
    FlushComponents(components, flush.flush);
    components.Coded("observation", "patency", "patency", flush.patency,
                     flush.patency == "blocked");
    CareComponents(components, *entry.event);
  }
}

}  // namespace dwell::fhir
