// Which sources have fallen silent since the last look, and which speak again: each is told once.
// Pure; what silence is says daemon/store/silence.h.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "daemon/store/silence.h"

namespace dwell::operate {

class Silences {
 public:
  /// `fixed`: see store::MayBeQuietFor().
  explicit Silences(std::optional<std::chrono::minutes> fixed) : fixed_(fixed) {}

  struct Change {
    bool is_silent = false;
    Instant last_event_at{};           ///< the last before the silence
    std::chrono::minutes quiet{0};     ///< so far; of one that speaks again: so long it was
    std::chrono::minutes expected{0};  ///< it should have spoken within this; as of the beginning
    bool operator==(const Change&) const = default;
  };
  /// `sources` are all there are, `now` is of the wall clock. A silence that was there before the
  /// start is told at the first look.
  std::vector<Change> Look(const std::vector<store::SourceRecord>& sources, Instant now);

  /// As of the last look.
  std::size_t count() const { return silent_.size(); }

 private:
  std::optional<std::chrono::minutes> fixed_;
  std::map<std::string, Change> silent_;  ///< by name, as told when it began
};

}  // namespace dwell::operate
