// The computed visual infusion phlebitis grade. The scale lists few of the 64 combinations of its
// six signs; for the others it gives no answer, and neither do we: a floor and a ceiling.
#include <array>

#include "mapping/due/due.h"

namespace dwell::due {
namespace {

using event::Finding;

struct Present {
  bool pain, erythema, swelling, induration, cord, pyrexia;
};

Present PresentSigns(const event::Signs& signs) {
  const auto seen = [](Finding finding) { return finding == Finding::kPresent; };
  return {seen(signs.pain),       seen(signs.erythema),      seen(signs.swelling),
          seen(signs.induration), seen(signs.palpable_cord), seen(signs.pyrexia)};
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

}  // namespace

std::optional<GradeRange> PhlebitisGradeRange(const event::Signs& signs) {
  const std::array six = {signs.pain,       signs.erythema,      signs.swelling,
                          signs.induration, signs.palpable_cord, signs.pyrexia};
  for (const Finding finding : six) {
    if (finding != Finding::kPresent && finding != Finding::kAbsent) return std::nullopt;
  }
  const Present present = PresentSigns(signs);
  return GradeRange{Floor(present), Ceiling(present)};
}

int PhlebitisGradeProven(const event::Signs& signs) { return Floor(PresentSigns(signs)); }

}  // namespace dwell::due
