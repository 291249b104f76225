#include "tests/sim/year/nurse.h"

#include <array>

namespace dwell::year {

using std::chrono::days;
using std::chrono::hours;
using std::chrono::seconds;

namespace {

/// NHS numbers of the range for tests, 999 000 0000 to 999 999 9999; check digit: weights 10 to 2,
/// modulus 11 (NHS Data Dictionary, NHS number).
std::string Patient(int number) {
  int base = 999'100'000;
  for (int found = -1;; ++base) {
    const std::string digits = std::to_string(base);
    int sum = 0;
    for (int i = 0; i < 9; ++i) sum += (digits[static_cast<std::size_t>(i)] - '0') * (10 - i);
    const int check = (11 - sum % 11) % 11;
    if (check != 10 && ++found == number) return digits + std::to_string(check);
  }
}

std::string Grade(int value) {
  return R"(,"grade":{"scale":"visual-infusion-phlebitis","version":"1998","value":)" +
         std::to_string(value) + "}";
}

}  // namespace

Nurse::Nurse(int number, Instant begins, std::uint64_t seed, Almanac& almanac, Oracle& oracle)
    : number_(number),
      patient_(Patient(number)),
      random_(seed),
      almanac_(almanac),
      oracle_(oracle) {
  insert_at_ = In(0, 3 * 1440, begins);
  Choose(begins);
}

/// A whole minute and some seconds, so that no two things happen to fall together.
Instant Nurse::In(std::int64_t least_min, std::int64_t most_min, Instant from) {
  const auto in = minutes(random_.Between(least_min, most_min)) + seconds(random_.Between(1, 58));
  return std::chrono::floor<seconds>(from + in);
}

void Nurse::Choose(Instant now) {
  const std::array<Plan, 5> plans{{{Act::kInsert, insert_at_},
                                   {Act::kCheck, check_at_},
                                   {Act::kRedress, redress_at_},
                                   {Act::kRemove, remove_at_},
                                   {Act::kLook, look_at_}}};
  const Plan* first = nullptr;
  for (const Plan& plan : plans) {
    if (plan.at && (first == nullptr || *plan.at < *first->at)) first = &plan;
  }
  act_ = first->act;
  happened_ = std::max(*first->at, happened_ + seconds(1));
  // Told at once, or at the next chance; never on a whole second.
  next_ = happened_ + milliseconds(337);
  if (random_.Chance(40)) next_ += minutes(random_.Between(1, 20));
  next_ = std::max(next_, std::chrono::floor<seconds>(now) + milliseconds(1'337));
}

std::string Nurse::Tell(Instant now, Instant up_since) {
  id_ = "e-" + std::to_string(number_) + "-" + std::to_string(++events_);
  std::string raw;
  switch (act_) {
    case Act::kInsert:
      Insert(now);
      raw = Write("insertion", now,
                  R"(,"outcome":"placed","line":{"kind":")" +
                      std::string(is_midline_ ? "midline" : "peripheral-cannula") +
                      R"(","gauge":20},"site":{"place":"dorsum-of-hand","side":"left"})");
      break;
    case Act::kCheck:
      Check(now, up_since);
      raw = Write("site-check", now, Grade(is_grade_high_ ? 2 : 0));
      break;
    case Act::kRedress:
      Redress(now, up_since);
      raw = Write("dressing-change", now, "");
      break;
    case Act::kRemove:
      Remove(now, up_since);
      raw = Write("removal", now, R"(,"reason":"no-longer-required")");
      break;
    case Act::kLook:
      Look(now, up_since);
      raw = Write("site-check", now, Grade(0));
      break;
  }
  Choose(now);
  return raw;
}

std::string Nurse::Write(const char* kind, Instant now, const std::string& members) const {
  const auto quoted = [](const char* name, const std::string& text) {
    return ",\"" + std::string(name) + "\":\"" + text + "\"";
  };
  return R"({"kind":")" + std::string(kind) + "\"" + quoted("id", id_) + quoted("source", "year") +
         quoted("happened_at", FormatInstant(happened_)) +
         quoted("recorded_at", FormatInstant(std::chrono::floor<seconds>(now))) +
         R"(,"patient":{"system":"https://fhir.nhs.uk/Id/nhs-number","value":")" + patient_ +
         R"("},"place":{"ward":"alder"},"staff":[{"system":)" +
         R"("https://staff.fernhill.example","value":"n-7","role":"registered-nurse"}])" +
         quoted("line_id", line_) + members + "}";
}

void Nurse::Insert(Instant now) {
  insert_at_.reset();
  look_at_.reset();
  is_midline_ = random_.Chance(20);
  is_grade_high_ = false;
  remove_now_key_.clear();
  line_ = "line-" + std::to_string(number_) + "-" + std::to_string(++lines_);
  const Instant due = happened_ + (is_midline_ ? hours(14 * 24) : hours(72));
  removal_key_ = Key("removal-due", id_);
  oracle_.Opens(removal_key_, due, now);
  remove_at_ = random_.Chance(80) ? In(-360, 60, due) : In(60, 600, due);
  OpenCheck(happened_, true, now);
  if (is_midline_) OpenDressing(happened_, now);
}

/// At rounds: the next one; one made up to an hour before a round, and nearer to it than half of
/// the way to the following, is that round's. Midlines: eight hours after the last.
void Nurse::OpenCheck(Instant happened, bool is_insertion, Instant now) {
  Instant due = happened + hours(8);
  if (!is_midline_) {
    due = almanac_.NextRound(happened);
    const Instant following = almanac_.NextRound(due);
    const bool is_the_rounds_check =
        !is_insertion && due - happened <= hours(1) && due - happened <= (following - due) / 2;
    if (is_the_rounds_check) due = following;
  }
  check_key_ = Key("site-check-due", id_);
  oracle_.Opens(check_key_, due, now);
  const std::uint64_t luck = random_.Below(100);
  if (luck < 60) check_at_ = In(-40, 20, due);
  if (luck >= 60 && luck < 85) check_at_ = In(31, 150, due);  // overdue
  if (luck >= 85) check_at_ = In(450, 510, due);              // left out once
}

void Nurse::OpenDressing(Instant happened, Instant now) {
  const Instant due = happened + days(7);
  dressing_key_ = Key("dressing-change-due", id_);
  oracle_.Opens(dressing_key_, due, now);
  redress_at_ = In(-600, 300, due);
}

void Nurse::Check(Instant now, Instant up_since) {
  oracle_.Closes(check_key_, "settled", now, up_since);
  OpenCheck(happened_, false, now);
  if (is_grade_high_ || !random_.Chance(4)) return;
  is_grade_high_ = true;
  remove_now_key_ = Key("remove-now", id_);
  oracle_.Opens(remove_now_key_, happened_, now);
  remove_at_ = In(5, 240, happened_);
}

void Nurse::Redress(Instant now, Instant up_since) {
  oracle_.Closes(dressing_key_, "settled", now, up_since);
  OpenDressing(happened_, now);
}

void Nurse::Remove(Instant now, Instant up_since) {
  oracle_.Closes(removal_key_, "settled", now, up_since);
  oracle_.Closes(check_key_, "no-longer-needed", now, up_since);
  if (is_midline_) oracle_.Closes(dressing_key_, "no-longer-needed", now, up_since);
  if (is_grade_high_) oracle_.Closes(remove_now_key_, "settled", now, up_since);
  check_at_.reset();
  redress_at_.reset();
  remove_at_.reset();
  watch_ends_ = happened_ + hours(48);
  watch_key_ = Key("post-removal-watch", id_);
  oracle_.Opens(watch_key_, watch_ends_, now);
  const bool is_early = random_.Chance(20);
  if (is_early) look_at_ = In(600, 1800, happened_);
  if (!is_early && random_.Chance(70)) look_at_ = In(-30, 120, watch_ends_);
  insert_at_ = In(60, 4 * 1440, happened_);
}

/// A look before the end of the watch is welcome and does not end it.
void Nurse::Look(Instant now, Instant up_since) {
  look_at_.reset();
  if (happened_ >= watch_ends_ - hours(1)) {
    oracle_.Closes(watch_key_, "settled", now, up_since);
  } else if (random_.Chance(70)) {
    look_at_ = In(-30, 120, watch_ends_);
  }
}

}  // namespace dwell::year
