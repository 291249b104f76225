// What the signs at a site prove: the phlebitis grade on two scales, the infiltration grade, and
// the definition of phlebitis of a trial. Cross-checks of what staff entered, which stays as it is.
#pragma once

#include <array>
#include <optional>
#include <string_view>
#include <vector>

#include "mapping/event/event.h"
#include "mapping/line/line.h"

namespace dwell::due {

/// Codes of the scales that a grade can be computed for. Sources: Jackson, Nursing Times
/// 1998;94(4):68-71 (0 to 5); Infusion Nurses Society, Infusion Nursing Standards of Practice 2011,
/// S47 (0 to 4).
inline constexpr std::string_view kVisualInfusionPhlebitis = "visual-infusion-phlebitis";
inline constexpr std::string_view kInsPhlebitis = "ins-phlebitis";
inline constexpr std::array kPhlebitisScales = {kVisualInfusionPhlebitis, kInsPhlebitis};

/// Floor and ceiling of the phlebitis grade that the signs allow on that scale, where none of the
/// scale's six signs is left open; empty otherwise, and for another scale. Equal: the signs
/// determine the grade. The rule for combinations that the scale does not list is ours.
struct GradeRange {
  int floor;
  int ceiling;
};
std::optional<GradeRange> PhlebitisGradeRange(std::string_view scale, const event::Signs& signs);
/// The highest grade of that scale that the signs marked present prove, whatever the others are
/// (open ones as absent); 0 for another scale.
int PhlebitisGradeProven(std::string_view scale, const event::Signs& signs);

/// Whether blood, an irritant or a vesicant runs: any amount of these in the tissue is the highest
/// grade of infiltration (Infusion Nurses Society, infiltration scale, 2006 and 2011).
bool IsHarmful(const std::vector<event::Code>& infusions);

/// The grade of the infiltration scale of the Infusion Nurses Society (2006, 2011) that signs and
/// measures prove, 0 when they prove none. Rows: pale and cool skin with swelling below 2.5 cm: 1;
/// from 2.5 to 15 cm: 2; beyond: 3. Its inches are rounded there; the centimetres count here.
/// `harmful` says that blood, an irritant or a vesicant runs: then swelling of any extent is 4,
/// whatever the skin looks like (that the skin may be left out is ours: it errs towards removal).
/// Without it 4 is never proven: no event tells all that its row asks for.
int InfiltrationGradeProven(const event::Signs& signs, const event::Measures& measures,
                            bool harmful);

/// Phlebitis as the trial of Rickard et al. defines it (Lancet 2012;380:1066-74): at least two at
/// the same time of pain of 2 or more on a scale to 10, redness of 1 cm or more, swelling of 1 cm
/// or more, pus, and a palpable cord.
enum class TrialPhlebitis : std::uint8_t {
  kNotMet,
  kPossible,  ///< with signs counted that are present while nobody told their measure
  kMet,       ///< by measures told
};
TrialPhlebitis TrialPhlebitisOf(const event::Signs& signs, const event::Measures& measures);

/// The first check in force, or the removal itself, that meets the trial's definition by its
/// measures, from the insertion until 48 h after the removal, both included; null when none does.
/// For rates per line.
const line::Entry* FirstTrialPhlebitis(const line::Line& line);

}  // namespace dwell::due
