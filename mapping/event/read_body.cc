// The members of each kind of event.
#include "mapping/event/reader.h"

namespace dwell::event {

void Reader::Set(const Cursor& at, Insertion* field) {
  Member(at, "outcome", &field->outcome);
  Member(at, "reason", &field->reason);
  Member(at, "line", &field->line);
  Member(at, "site", &field->site);
  Setting(at, &field->emergency);
  Member(at, "attempts", &field->attempts);
  Member(at, "preparation", &field->preparation);
  Member(at, "flush", &field->flush);
  Member(at, "blood_on_entry", &field->blood_on_entry);
  Member(at, "blood_on_advance", &field->blood_on_advance);
  if (const auto extension = at.value.Find("extension")) {
    const Cursor inside{*extension, &at, "extension"};
    Member(inside, "primed", &field->extension_primed);
    Member(inside, "clamped", &field->extension_clamped);
  }
  Member(at, "dressing", &field->dressing);
  Member(at, "date_label", &field->date_label);
  Member(at, "patient_told", &field->patient_told);
}

void Reader::Set(const Cursor& at, SiteCheck* field) {
  Member(at, "signs", &field->signs);
  Member(at, "measures", &field->measures);
  Member(at, "grade", &field->grade);
  Member(at, "infiltration_grade", &field->infiltration_grade);
  Member(at, "dressing", &field->dressing);
  Member(at, "patency", &field->patency);
  Member(at, "flush", &field->flush);
  Member(at, "still_needed", &field->still_needed);
  Member(at, "action", &field->action);
}

void Reader::Set(const Cursor& at, Flush* field) {
  Member(at, "flush", &field->flush);
  Member(at, "patency", &field->patency);
}

void Reader::Set(const Cursor& at, DressingChange* field) {
  Member(at, "found", &field->found);
  Member(at, "type", &field->type);
  Member(at, "lot", &field->lot);
  Member(at, "skin_antiseptic", &field->skin_antiseptic);
  Member(at, "site_cleaned", &field->site_cleaned);
}

void Reader::Set(const Cursor& at, Removal* field) {
  Member(at, "reason", &field->reason);
  Member(at, "tip_complete", &field->tip_complete);
  Member(at, "signs", &field->signs);
  Member(at, "grade", &field->grade);
  Member(at, "bleeding_stopped", &field->bleeding_stopped);
  Member(at, "tip_to_laboratory", &field->tip_to_laboratory);
}

void Reader::Set(const Cursor& at, Retraction* field) {
  Member(at, "retracts", &field->retracts);
  Member(at, "reason", &field->reason);
}

}  // namespace dwell::event
