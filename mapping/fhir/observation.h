// What the Observations have in common: their head, and components that are told in the narrative
// as they are written.
#pragma once

#include <string>
#include <string_view>

#include "mapping/fhir/draft.h"

namespace dwell::fhir {

/// How an Observation starts.
struct ObservationHead {
  std::string_view group;  ///< of the concept in Observation.code
  std::string_view code;
  /// For a score of a scale: what it would be recorded as without one. It becomes a category, with
  /// "survey", so that all checks can be found whether graded or not.
  std::string_view graded_as = {};
  bool of_procedure =
      false;  ///< made in the course of something done: category "procedure", and ...
  std::string_view part_of;  ///< ... id of its Procedure, for partOf; or empty
};

/// Writes status, category, code, subject, focus, encounter, effective, issued and performer; then
/// the body site of the line, when an insertion in force tells it.
void BeginObservation(Draft& draft, const ObservationHead& head);

/// Writes Observation.component. Nothing is written for what was not asked.
class Components {
 public:
  explicit Components(Draft& draft) : draft_(draft) {}
  Components(const Components&) = delete;
  Components& operator=(const Components&) = delete;
  ~Components();

  /// A coded value. `abnormal` adds the interpretation A.
  void Coded(std::string_view group, std::string_view code, std::string_view value_group,
             std::string_view value, bool abnormal = false);
  /// Yes or no; not-known as the reason why there is no value, or nothing at all if `skip_unknown`.
  void Answer(std::string_view group, std::string_view code, event::Answer answer,
              bool skip_unknown = false);
  /// Present or absent; not-assessable as the reason why there is no value.
  void Finding(std::string_view group, std::string_view code, event::Finding finding,
               bool abnormal_if_present = false);
  void Quantity(std::string_view code, const std::optional<event::Decimal>& number,
                const Unit& unit);
  void Integer(std::string_view code, std::int64_t number);
  /// A lot number, as a code of the site's own system "<namespace>/lot": so that a search for
  /// component-value-concept finds everybody who had something of that lot.
  void Lot(std::string_view code, std::string_view lot);
  /// A date of full or month precision.
  void Date(std::string_view code, std::string_view date);
  /// True, with the interpretation A.
  void Alarm(std::string_view code);

 private:
  /// Opens a component with its code; the concept says what to call it in the narrative.
  codes::Found Open(std::string_view group, std::string_view code);
  void Close(bool abnormal = false);

  Draft& draft_;
  bool any_ = false;
};

/// Components of a flush: fluid, volume, lot, expiry, two-person check, swelling, resistance.
void FlushComponents(Components& components, const event::FlushGiven& flush);
/// Components of the groups that the patient belongs to, and of what runs through the line.
void CareComponents(Components& components, const event::Event& event);

}  // namespace dwell::fhir
