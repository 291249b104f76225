// Signs at a site from letters, for tests.
#pragma once

#include <string>

#include "mapping/event/event.h"

namespace dwell::samples {

/// P pain, E erythema, S swelling, I induration, K streak, C palpable cord, U pus, F pyrexia: those
/// named are present. The others that the scale asks for, named in `asked`, are absent.
inline event::Signs SignsOf(const std::string& letters, const std::string& asked = "PESICF") {
  const auto finding = [&](char letter) {
    if (letters.find(letter) != std::string::npos) return event::Finding::kPresent;
    return asked.find(letter) != std::string::npos ? event::Finding::kAbsent
                                                   : event::Finding::kNotAsked;
  };
  event::Signs signs;
  signs.pain = finding('P');
  signs.erythema = finding('E');
  signs.swelling = finding('S');
  signs.induration = finding('I');
  signs.streak = finding('K');
  signs.palpable_cord = finding('C');
  signs.pus = finding('U');
  signs.pyrexia = finding('F');
  return signs;
}

}  // namespace dwell::samples
