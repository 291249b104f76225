// The log: one JSON object per line on standard error. What may stand in it is decided by type:
// numbers, literals of this program, instants, the names of our enums, and Error, whose message
// never holds personal data. Text from outside has no way in.
#pragma once

#include <concepts>
#include <cstdint>
#include <initializer_list>
#include <string>
#include <string_view>
#include <type_traits>

#include "mapping/event/moment.h"
#include "schemas/base/result.h"

namespace dwell::log {

enum class Level : std::uint8_t { kError, kWarning, kInfo };

/// A text that stands in the source of this program.
class Literal {
 public:
  // NOLINTNEXTLINE(google-explicit-constructor): writing the literal is the point
  consteval Literal(const char* text) : text_(text) {}
  std::string_view text() const { return text_; }

 private:
  std::string_view text_;
};

/// An enum of ours that has a LogName(), found beside it.
template <class T>
concept Named = std::is_enum_v<T> && requires(T value) {
  { LogName(value) } -> std::same_as<Literal>;
};

/// One member of the object.
class Field {
 public:
  template <std::integral Number>
  requires(!std::same_as<Number, bool>) Field(Literal name, Number number) {
    Append(name, std::to_string(number));
  }
  Field(Literal name, std::same_as<bool> auto truth) { Append(name, truth ? "true" : "false"); }
  Field(Literal name, Literal text);
  Field(Literal name, Instant instant);
  /// Written as two members: its message, and "kind": what kind of error it is.
  Field(Literal name, const Error& error);
  template <Named Enum>
  Field(Literal name, Enum value) : Field(name, LogName(value)) {}

  std::string_view json() const { return json_; }

 private:
  void Append(Literal name, std::string_view json_value);
  std::string json_;  // `"name":value`
};

/// "config", "full", ...: also the names in exit messages.
Literal LogName(ErrorKind kind);

/// The line that Write() writes, with its line end. `journal` puts the syslog priority in front
/// ("<3>" error, "<4>" warning, "<6>" info; sd-daemon(3)).
std::string Line(Level level, Literal event, std::initializer_list<Field> fields, Instant now,
                 bool journal);

/// Writes one line at once; safe from any thread. With the priority in front when standard error
/// goes to the journal (JOURNAL_STREAM is set, systemd.exec(5)).
void Write(Level level, Literal event, std::initializer_list<Field> fields = {});

}  // namespace dwell::log
