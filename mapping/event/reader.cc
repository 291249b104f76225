#include "mapping/event/reader.h"

#include <array>
#include <charconv>
#include <chrono>

namespace dwell::event {
namespace {

template <class T>
struct Word {
  std::string_view word;
  T meaning;
};

constexpr std::array kAnswers = {Word<Answer>{"yes", Answer::kYes}, Word<Answer>{"no", Answer::kNo},
                                 Word<Answer>{"not-known", Answer::kNotKnown}};
constexpr std::array kFindings = {Word<Finding>{"present", Finding::kPresent},
                                  Word<Finding>{"absent", Finding::kAbsent},
                                  Word<Finding>{"not-assessable", Finding::kNotAssessable}};
constexpr std::array kOutcomes = {Word<Outcome>{"placed", Outcome::kPlaced},
                                  Word<Outcome>{"failed", Outcome::kFailed},
                                  Word<Outcome>{"declined", Outcome::kDeclined},
                                  Word<Outcome>{"not-attempted", Outcome::kNotAttempted}};
constexpr std::array kSettings = {Word<bool>{"planned", false}, Word<bool>{"emergency", true}};

template <class T, std::size_t N>
void SetWord(Reader* reader, const Cursor& at, const std::array<Word<T>, N>& words, T* field) {
  for (const auto& [word, meaning] : words) {
    if (at.value.AsString() == word) {
      *field = meaning;
      return;
    }
  }
  reader->Problem(at, "enum", "one of the words of the contract");
}

/// Whether `text` is "YYYY-MM" or "YYYY-MM-DD" and exists in the calendar.
bool IsMonthOrDay(std::string_view text) {
  std::string whole(text);
  if (whole.size() == 7) whole += "-01";
  return whole.size() == 10 && ReadMoment(whole + "T00:00:00Z").has_value();
}

}  // namespace

std::string Cursor::Pointer() const {
  if (parent == nullptr) return {};
  std::string pointer = parent->Pointer() + "/";
  // Names here are those of the contract and hold neither '/' nor '~'.
  return pointer.append(name.empty() ? std::to_string(index) : std::string(name));
}

void Reader::Problem(const Cursor& at, std::string_view rule, std::string_view expected) {
  Problem(at.Pointer(), rule, expected);
}

void Reader::Problem(std::string pointer, std::string_view rule, std::string_view expected) {
  problems_.push_back({std::move(pointer), std::string(rule), std::string(expected)});
}

void Reader::Set(const Cursor& at, std::string* field) { *field = at.value.AsString(); }

void Reader::Set(const Cursor& at, std::int64_t* field) {
  const std::string_view text = at.value.NumberText();
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), *field);
  if (error != std::errc() || end != text.data() + text.size()) {
    Problem(at, "integer", "a whole number without point or exponent");
  }
}

void Reader::Set(const Cursor& at, Decimal* field) { field->text = at.value.NumberText(); }

void Reader::Set(const Cursor& at, Moment* field) {
  if (auto moment = ReadMoment(at.value.AsString())) {
    *field = *std::move(moment);
  } else {
    Problem(at, "date-time", "date and time with seconds and offset (RFC 3339)");
  }
}

void Reader::Set(const Cursor& at, Answer* field) { SetWord(this, at, kAnswers, field); }
void Reader::Set(const Cursor& at, Finding* field) { SetWord(this, at, kFindings, field); }
void Reader::Set(const Cursor& at, Outcome* field) { SetWord(this, at, kOutcomes, field); }

void Reader::Setting(const Cursor& at, bool* emergency) {
  if (const auto setting = at.value.Find("setting")) {
    SetWord(this, Cursor{*setting, &at, "setting"}, kSettings, emergency);
  }
}

void Reader::Expiry(const Cursor& at, std::string* field) {
  const auto found = at.value.Find("expiry");
  if (!found) return;
  const Cursor expiry{*found, &at, "expiry"};
  if (IsMonthOrDay(found->AsString())) {
    Set(expiry, field);
  } else {
    Problem(expiry, "date", "a month or day of the calendar, YYYY-MM or YYYY-MM-DD");
  }
}

void Reader::Set(const Cursor& at, Identifier* field) {
  Member(at, "system", &field->system);
  Member(at, "value", &field->value);
}

void Reader::Set(const Cursor& at, Patient* field) {
  Member(at, "system", &field->system);
  Member(at, "value", &field->value);
  Member(at, "second", &field->second);
}

void Reader::Set(const Cursor& at, Place* field) {
  Member(at, "ward", &field->ward);
  Member(at, "bay", &field->bay);
  Member(at, "bed", &field->bed);
}

void Reader::Set(const Cursor& at, StaffMember* field) {
  Member(at, "system", &field->system);
  Member(at, "value", &field->value);
  Member(at, "role", &field->role);
}

void Reader::Set(const Cursor& at, Site* field) {
  Member(at, "place", &field->place);
  Member(at, "side", &field->side);
  Member(at, "vein", &field->vein);
}

void Reader::Set(const Cursor& at, FlushGiven* field) {
  Member(at, "fluid", &field->fluid);
  Member(at, "mL", &field->millilitres);
  Member(at, "lot", &field->lot);
  Expiry(at, &field->expiry);
  Member(at, "checked_by_two", &field->checked_by_two);
  Member(at, "swelling", &field->swelling);
  Member(at, "resistance", &field->resistance);
}

void Reader::Set(const Cursor& at, Dressing* field) {
  Member(at, "type", &field->type);
  Member(at, "condition", &field->condition);
}

void Reader::Set(const Cursor& at, FailedAttempt* field) {
  Member(at, "site", &field->site);
  Member(at, "reason", &field->reason);
  Member(at, "at", &field->at);
}

void Reader::Set(const Cursor& at, LineDescription* field) {
  Member(at, "kind", &field->kind);
  Member(at, "gauge", &field->gauge);
  Member(at, "french", &field->french);
  Member(at, "length_mm", &field->length_mm);
  Member(at, "lot", &field->lot);
  Expiry(at, &field->expiry);
  Member(at, "udi", &field->udi);
}

void Reader::Set(const Cursor& at, Preparation* field) {
  Member(at, "identity_checked", &field->identity_checked);
  Member(at, "consent", &field->consent);
  Member(at, "hands_decontaminated", &field->hands_decontaminated);
  Member(at, "gloves", &field->gloves);
  Member(at, "apron", &field->apron);
  Member(at, "equipment_in_date", &field->equipment_in_date);
  Member(at, "surface_cleaned", &field->surface_cleaned);
  Member(at, "surface_dried_min", &field->surface_dried_min);
  Member(at, "skin_antiseptic", &field->skin_antiseptic);
  Member(at, "skin_dried_s", &field->skin_dried_s);
  Member(at, "site_touched_again", &field->site_touched_again);
  Member(at, "key_parts_untouched", &field->key_parts_untouched);
  Member(at, "hub_disinfected", &field->hub_disinfected);
}

void Reader::Set(const Cursor& at, Signs* field) {
  Member(at, "pain", &field->pain);
  Member(at, "erythema", &field->erythema);
  Member(at, "swelling", &field->swelling);
  Member(at, "induration", &field->induration);
  Member(at, "palpable_cord", &field->palpable_cord);
  Member(at, "pyrexia", &field->pyrexia);
  Member(at, "streak", &field->streak);
  Member(at, "pus", &field->pus);
  Member(at, "leakage", &field->leakage);
  Member(at, "bleeding", &field->bleeding);
  Member(at, "bruising", &field->bruising);
  Member(at, "blanching", &field->blanching);
  Member(at, "coolness", &field->coolness);
}

void Reader::Set(const Cursor& at, Measures* field) {
  Member(at, "redness_mm", &field->redness_mm);
  Member(at, "swelling_mm", &field->swelling_mm);
  Member(at, "pain_0_10", &field->pain_0_10);
  Member(at, "temperature_cel", &field->temperature_cel);
}

void Reader::Set(const Cursor& at, Grade* field) {
  Member(at, "scale", &field->scale);
  Member(at, "version", &field->version);
  Member(at, "value", &field->value);
}

}  // namespace dwell::event
