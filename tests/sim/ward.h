// The sender: wards whose staff tell of the lives of some lines, in order and out of it, twice,
// corrected, taken back, and now and then wrong. Every text that must not be logged holds kSecret.
#pragma once

#include <string>
#include <vector>

#include "mapping/event/moment.h"
#include "tests/sim/random.h"

namespace dwell::sim {

/// Stands in notes, staff codes and place names of every event; patients' numbers are secret, too.
inline constexpr const char* kSecret = "Qx7-secret";

struct Told {
  std::string id;
  std::string line_id;
  std::string raw;
};

class Ward {
 public:
  static constexpr const char* kSource = "ward-tablets";

  Ward(Random& random, std::size_t lines_max) : random_(random), lines_max_(lines_max) {}

  /// Something new, as of the sender's clock: mostly what comes next in the life of a line.
  Told Tell(Instant now);
  /// Something told before, in the same bytes.
  Told Repeat();
  /// Something told before, with other content.
  Told Contradict();
  /// Something no event may be.
  Told Nonsense(Instant now);
  bool has_told() const { return !told_.empty(); }

  /// Identifiers of patients that must not be logged.
  static const std::vector<std::string>& patients();

 private:
  struct Line {
    std::string id;
    std::string ward;
    std::string kind;
    std::size_t patient = 0;
    bool removed = false;
    std::vector<std::string> events;
  };

  Line& ChooseLine();
  std::string NextKind(const Line& line);
  std::string Members(const Line& line, const std::string& kind);
  std::string Write(const Line& line, const std::string& kind, const std::string& id, Instant now);

  Random& random_;
  std::size_t lines_max_;
  std::vector<Line> lines_;
  std::vector<Told> told_;
  int count_ = 0;
};

}  // namespace dwell::sim
