// The computed phlebitis grade, on either scale. A scale lists few of the combinations of its six
// signs; for the others it gives no answer, and neither do we: a floor and a ceiling.
#include "mapping/due/grades.h"

#include <algorithm>
#include <array>

#include "schemas/decimal.h"

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

constexpr std::array<std::string_view, 3> kHarmful = {"blood-product", "irritant", "vesicant"};

bool Reaches(const event::Decimal& measure, std::string_view limit) {
  return schemas::CompareDecimals(measure.text, limit) >= 0;
}

/// One of the trial's five signs: by its measure where that was told, else by the sign alone.
struct TrialSign {
  bool met = false;
  bool unmeasured = false;
};

TrialSign Extent(Finding sign, const std::optional<event::Decimal>& measure_mm) {
  constexpr std::string_view kExtentMinMm = "10";
  if (measure_mm) return {.met = Reaches(*measure_mm, kExtentMinMm)};
  return {.unmeasured = sign == Finding::kPresent};
}

TrialSign Pain(Finding sign, const std::optional<std::int64_t>& score) {
  constexpr std::int64_t kPainMin = 2;
  if (score) return {.met = *score >= kPainMin};
  return {.unmeasured = sign == Finding::kPresent};
}

constexpr std::chrono::hours kAfterRemovalMax{48};  // Rickard et al. 2012, as above

TrialPhlebitis SeenAt(const event::Event& event) {
  if (const auto* check = std::get_if<event::SiteCheck>(&event.body)) {
    return TrialPhlebitisOf(check->signs, check->measures);
  }
  const auto* removal = std::get_if<event::Removal>(&event.body);
  return removal != nullptr ? TrialPhlebitisOf(removal->signs, {}) : TrialPhlebitis::kNotMet;
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

bool IsHarmful(const std::vector<event::Code>& infusions) {
  return std::ranges::any_of(infusions, [](const event::Code& infusion) {
    return std::ranges::find(kHarmful, infusion) != kHarmful.end();
  });
}

int InfiltrationGradeProven(const Signs& signs, const event::Measures& measures, bool harmful) {
  const auto& extent_mm = measures.swelling_mm;
  const bool swollen = signs.swelling == Finding::kPresent ||
                       (extent_mm && schemas::CompareDecimals(extent_mm->text, "0") > 0);
  if (!swollen) return 0;
  if (harmful) return 4;
  if (signs.blanching != Finding::kPresent || signs.coolness != Finding::kPresent) return 0;
  if (!extent_mm || !Reaches(*extent_mm, "25")) return 1;
  return schemas::CompareDecimals(extent_mm->text, "150") > 0 ? 3 : 2;
}

TrialPhlebitis TrialPhlebitisOf(const Signs& signs, const event::Measures& measures) {
  const std::array<TrialSign, 5> found = {Pain(signs.pain, measures.pain_0_10),
                                          Extent(signs.erythema, measures.redness_mm),
                                          Extent(signs.swelling, measures.swelling_mm),
                                          {.met = signs.pus == Finding::kPresent},
                                          {.met = signs.palpable_cord == Finding::kPresent}};
  const auto met = std::ranges::count(found, true, &TrialSign::met);
  if (met >= 2) return TrialPhlebitis::kMet;
  const auto unmeasured = std::ranges::count(found, true, &TrialSign::unmeasured);
  return met + unmeasured >= 2 ? TrialPhlebitis::kPossible : TrialPhlebitis::kNotMet;
}

const line::Entry* FirstTrialPhlebitis(const line::Line& line) {
  const line::Entry* const in = line.insertion();
  const line::Entry* const out = line.removal();
  if (in == nullptr) return nullptr;
  for (const line::Entry& entry : line.entries) {
    if (entry.standing != line::Standing::kInForce) continue;
    const Instant at = entry.event->happened.instant;
    if (at < in->event->happened.instant) continue;
    if (out != nullptr && at > out->event->happened.instant + kAfterRemovalMax) return nullptr;
    if (SeenAt(*entry.event) == TrialPhlebitis::kMet) return &entry;
  }
  return nullptr;
}

}  // namespace dwell::due
