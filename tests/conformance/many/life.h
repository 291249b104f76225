// The life of one invented line: what staff send about it, in order of arrival.
#pragma once

#include <string>
#include <vector>

#include "mapping/event/moment.h"
#include "tests/conformance/many/filler.h"

namespace dwell::due {
class Zone;
}

namespace dwell::many {

/// An event on its way in.
struct Sent {
  std::string json;
  Instant arrives;
};

struct Life {
  std::string zone;        ///< of the ward, as tz data names it
  std::size_t policy = 0;  ///< index into the policies of ward.h
  bool licensed = false;   ///< which code map
  bool test_data = false;
  bool conditional = false;     ///< patients and encounters are referred to by search
  bool profiles = false;        ///< meta.profile says which profile a resource keeps to
  bool watched = false;         ///< the clock looks at every change, not only when an event comes
  std::size_t ticks_after = 0;  ///< changes of the clock to go on for after the last event
  std::vector<Sent> sent;
};

/// The line number `number`. Its shape goes round through all shapes; the rest is the dice's.
Life MakeLife(std::size_t number, const Contract& contract, const Vocabulary& words, Dice* dice);

/// An NHS number of the test range 999 000 0000 to 999 999 9999 with its check digit (NHS Data
/// Dictionary, NHS NUMBER: weights 10 to 2, modulo 11).
std::string TestNhsNumber(Dice* dice);

}  // namespace dwell::many
