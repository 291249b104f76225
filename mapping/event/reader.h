// Reads JSON members into typed fields, knowing at every moment where in the document it is, so
// that a problem carries its JSON Pointer. Building blocks of read_event.cc.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "mapping/event/event.h"
#include "schemas/json/document.h"

namespace dwell::event {

/// A value and the way to it: links on the stack, turned into text only when there is a problem.
struct Cursor {
  schemas::Value value;
  const Cursor* parent = nullptr;
  std::string_view name{};  ///< member name; empty for an element of an array
  std::size_t index = 0;    ///< of the element

  /// JSON Pointer (RFC 6901) of the value.
  std::string Pointer() const;
};

/// Collects what is wrong beyond the schema. A value that cannot be used leaves its field as it
/// was.
class Reader {
 public:
  /// Notes that the value at `at` breaks `rule`.
  void Problem(const Cursor& at, std::string_view rule, std::string_view expected);
  void Problem(std::string pointer, std::string_view rule, std::string_view expected);
  std::vector<event::Problem> TakeProblems() { return std::move(problems_); }

  /// Reads the member called `name` of the object at `at` into `field`, if it is there.
  template <class Field>
  void Member(const Cursor& at, std::string_view name, Field* field) {
    if (const auto found = at.value.Find(name)) Set(Cursor{*found, &at, name}, field);
  }

  void Set(const Cursor& at, std::string* field);
  void Set(const Cursor& at, std::int64_t* field);
  void Set(const Cursor& at, Decimal* field);
  void Set(const Cursor& at, Moment* field);
  void Set(const Cursor& at, Answer* field);
  void Set(const Cursor& at, Finding* field);
  void Set(const Cursor& at, Identifier* field);
  void Set(const Cursor& at, Patient* field);
  void Set(const Cursor& at, Place* field);
  void Set(const Cursor& at, StaffMember* field);
  void Set(const Cursor& at, Site* field);
  void Set(const Cursor& at, FlushGiven* field);
  void Set(const Cursor& at, Dressing* field);
  void Set(const Cursor& at, FailedAttempt* field);
  void Set(const Cursor& at, LineDescription* field);
  void Set(const Cursor& at, Preparation* field);
  void Set(const Cursor& at, Outcome* field);
  void Set(const Cursor& at, Signs* field);
  void Set(const Cursor& at, Measures* field);
  void Set(const Cursor& at, Grade* field);
  void Set(const Cursor& at, Insertion* field);
  void Set(const Cursor& at, SiteCheck* field);
  void Set(const Cursor& at, Flush* field);
  void Set(const Cursor& at, DressingChange* field);
  void Set(const Cursor& at, Removal* field);
  void Set(const Cursor& at, Retraction* field);

  template <class Field>
  void Set(const Cursor& at, std::optional<Field>* field) {
    Set(at, &field->emplace());
  }
  template <class Field>
  void Set(const Cursor& at, std::vector<Field>* field) {
    field->reserve(at.value.size());
    std::size_t index = 0;
    for (const schemas::Value element : at.value) {
      Set(Cursor{element, &at, {}, index++}, &field->emplace_back());
    }
  }

 private:
  /// Member "setting": "planned" | "emergency".
  void Setting(const Cursor& at, bool* emergency);
  /// Member "expiry", which must be a day or month of the calendar: "YYYY-MM" or "YYYY-MM-DD".
  void Expiry(const Cursor& at, std::string* field);

  std::vector<event::Problem> problems_;
};

}  // namespace dwell::event
