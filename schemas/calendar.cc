#include "schemas/calendar.h"

#include <chrono>
#include <optional>

namespace dwell::schemas {
namespace {

/// Reads a text from the left; once something was not there, everything after fails too.
class Scanner {
 public:
  explicit Scanner(std::string_view text) : rest_(text) {}

  bool AtEnd() const { return ok_ && rest_.empty(); }
  bool ok() const { return ok_; }

  bool Take(char c) {
    if (rest_.empty() || rest_.front() != c) return false;
    rest_.remove_prefix(1);
    return true;
  }
  void Expect(char c) { ok_ = ok_ && Take(c); }

  /// Exactly `count` digits, as a number between `min` and `max`.
  int Number(std::size_t count, int min, int max) {
    if (rest_.size() < count) ok_ = false;
    int number = 0;
    for (std::size_t i = 0; ok_ && i < count; ++i) {
      if (rest_[i] < '0' || rest_[i] > '9') ok_ = false;
      number = number * 10 + (rest_[i] - '0');
    }
    ok_ = ok_ && number >= min && number <= max;
    if (ok_) rest_.remove_prefix(count);
    return number;
  }

  /// At least one digit, if there is a point.
  void Fraction() {
    if (!Take('.')) return;
    Number(1, 0, 9);
    while (!rest_.empty() && rest_.front() >= '0' && rest_.front() <= '9') rest_.remove_prefix(1);
  }

 private:
  std::string_view rest_;
  bool ok_ = true;
};

/// How many of year, month and day there are; 0 when the text does not begin with a date that
/// exists.
int TakeDate(Scanner* scan) {
  const int year = scan->Number(4, 1, 9999);
  if (!scan->ok()) return 0;
  if (!scan->Take('-')) return 1;
  const int month = scan->Number(2, 1, 12);
  if (!scan->ok()) return 0;
  if (!scan->Take('-')) return 2;
  const int day = scan->Number(2, 1, 31);
  const std::chrono::year_month_day date(std::chrono::year(year),
                                         std::chrono::month(static_cast<unsigned>(month)),
                                         std::chrono::day(static_cast<unsigned>(day)));
  return scan->ok() && date.ok() ? 3 : 0;
}

/// hh:mm:ss with an optional fraction. Second 60 is legal in FHIR and in RFC 3339.
void TakeTime(Scanner* scan) {
  scan->Number(2, 0, 23);
  scan->Expect(':');
  scan->Number(2, 0, 59);
  scan->Expect(':');
  scan->Number(2, 0, 60);
  scan->Fraction();
}

/// Z, +hh:mm or -hh:mm up to 14:00, the largest in use and the largest that FHIR's pattern accepts.
void TakeOffset(Scanner* scan) {
  if (scan->Take('Z')) return;
  if (!scan->Take('-')) scan->Expect('+');
  const int hours = scan->Number(2, 0, 14);
  scan->Expect(':');
  scan->Number(2, 0, hours == 14 ? 0 : 59);
}

}  // namespace

bool IsFhirDate(std::string_view text) {
  Scanner scan(text);
  return TakeDate(&scan) > 0 && scan.AtEnd();
}

bool IsFhirDateTime(std::string_view text) {
  Scanner scan(text);
  const int parts = TakeDate(&scan);
  if (parts == 0) return false;
  if (scan.AtEnd()) return true;
  if (parts < 3) return false;
  scan.Expect('T');
  TakeTime(&scan);
  TakeOffset(&scan);
  return scan.AtEnd();
}

bool IsFhirInstant(std::string_view text) {
  Scanner scan(text);
  if (TakeDate(&scan) != 3) return false;
  scan.Expect('T');
  TakeTime(&scan);
  TakeOffset(&scan);
  return scan.AtEnd();
}

bool IsFhirTime(std::string_view text) {
  Scanner scan(text);
  TakeTime(&scan);
  return scan.AtEnd();
}

bool IsMoment(std::string_view text) { return IsFhirInstant(text); }

bool IsDateOrMonth(std::string_view text) {
  Scanner scan(text);
  return TakeDate(&scan) >= 2 && scan.AtEnd();
}

}  // namespace dwell::schemas
