// Device identifiers as a scanner sends or a label prints them, with right check digits.
#pragma once

#include <chrono>
#include <string>

#include "tests/conformance/many/dice.h"

namespace dwell::many {

/// A scan, and what staff may enter beside it without saying something else.
struct Scan {
  std::string text;
  std::string lot;     ///< as the carrier says; empty when it says none
  std::string expiry;  ///< likewise, "YYYY-MM-DD" or "YYYY-MM"
};

/// One of the forms that the readers of mapping/event/udi.h know, or a text of no known issuer.
Scan MakeScan(Dice* dice);

/// The check digit behind `digits` (GS1 General Specifications, section 7.9: weights 3, 1, 3 ...
/// from the right).
char Gs1Check(const std::string& digits);
/// The check character of an HIBC label (ANSI/HIBC 2.6: sum of the values modulo 43).
char HibcCheck(const std::string& text);

}  // namespace dwell::many
