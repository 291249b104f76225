// The computed phlebitis grade, on either scale. A scale lists few of the combinations of its six
// signs; for the others it gives no answer, and neither do we: a floor and a ceiling.
#include <algorithm>
#include <array>

#include "mapping/due/due.h"

namespace dwell::due {
namespace {

using event::Finding;

struct Present {
  bool pain, erythema, swelling, induration, cord, pyrexia, streak, pus;
};

Present PresentSigns(const event::Signs& signs) {
  const auto seen = [](Finding finding) { return finding == Finding::kPresent; };
  return {
      seen(signs.pain),          seen(signs.erythema), seen(signs.swelling), seen(signs.induration),
      seen(signs.palpable_cord), seen(signs.pyrexia),  seen(signs.streak),   seen(signs.pus)};
}

bool TwoEarlySigns(const Present& s) { return s.pain + s.erythema + s.swelling >= 2; }

/// The highest grade whose required signs are all present.
int Floor(const Present& s) {
  if (s.pain && s.erythema && s.induration) return s.cord ? (s.pyrexia ? 5 : 4) : 3;
  if (TwoEarlySigns(s)) return 2;
  return s.pain || s.erythema ? 1 : 0;
}

/// The lowest grade whose row mentions every sign present.
int Ceiling(const Present& s) {
  if (s.pyrexia) return 5;
  if (s.cord) return 4;
  if (s.induration) return 3;
  if (s.swelling || TwoEarlySigns(s)) return 2;
  return s.pain || s.erythema ? 1 : 0;
}

/// The highest grade of the INS scale whose required signs are all present. Grade 4 also asks for a
/// cord longer than one inch, which no event tells: it is never proven.
int InsFloor(const Present& s) {
  const bool painful = s.pain && (s.erythema || s.swelling);
  if (painful) return s.streak && s.cord ? 3 : 2;
  return s.erythema ? 1 : 0;
}

/// The lowest grade of the INS scale whose row mentions every sign present; not below the floor,
/// because the rows of grades 1 and 2 share signs.
int InsCeiling(const Present& s) {
  if (s.pus || s.cord) return 4;  // the cord may be longer than one inch
  if (s.streak) return 3;
  if (s.swelling) return 2;
  return std::max(InsFloor(s), s.pain || s.erythema ? 1 : 0);
}

using event::Signs;

struct Scale {
  std::string_view code;
  std::array<Finding Signs::*, 6> signs;
  int (*floor)(const Present&);
  int (*ceiling)(const Present&);
};

constexpr std::array kScales = {
    Scale{kVisualInfusionPhlebitis,
          {&Signs::pain, &Signs::erythema, &Signs::swelling, &Signs::induration,
           &Signs::palpable_cord, &Signs::pyrexia},
          Floor,
          Ceiling},
    Scale{kInsPhlebitis,
          {&Signs::pain, &Signs::erythema, &Signs::swelling, &Signs::streak, &Signs::palpable_cord,
           &Signs::pus},
          InsFloor,
          InsCeiling},
};

const Scale* FindScale(std::string_view code) {
  const auto found = std::ranges::find(kScales, code, &Scale::code);
  return found != kScales.end() ? &*found : nullptr;
}

}  // namespace

std::optional<GradeRange> PhlebitisGradeRange(std::string_view scale, const Signs& signs) {
  const Scale* row = FindScale(scale);
  if (row == nullptr) return std::nullopt;
  for (const auto sign : row->signs) {
    if (signs.*sign != Finding::kPresent && signs.*sign != Finding::kAbsent) return std::nullopt;
  }
  const Present present = PresentSigns(signs);
  return GradeRange{row->floor(present), row->ceiling(present)};
}

int PhlebitisGradeProven(std::string_view scale, const Signs& signs) {
  const Scale* row = FindScale(scale);
  return row != nullptr ? row->floor(PresentSigns(signs)) : 0;
}

}  // namespace dwell::due
