#include "daemon/operate/watch.h"

#include <algorithm>
#include <charconv>
#include <cstring>
#include <utility>

#include "schemas/base/check.h"

namespace dwell::operate {

using std::chrono::milliseconds;

log::Literal LogName(Worker worker) {
  switch (worker) {
    case Worker::kNet:
      return "net";
    case Worker::kStore:
      return "store";
    case Worker::kDelivery:
      return "delivery";
    case Worker::kAlarm:
      return "alarm";
  }
  CHECK(false && "a worker without a name");
  return "?";
}

Watch::Watch(std::size_t workers, SteadyTime now, milliseconds stuck_after)
    : stuck_after_(stuck_after), rows_(workers, {{}, now, now, false}), looked_(now) {}

std::vector<std::size_t> Watch::Ask(SteadyTime now) {
  std::vector<std::size_t> whom;
  for (std::size_t i = 0; i < rows_.size(); ++i) {
    if (rows_[i].asked) continue;
    rows_[i].asked = now;
    whom.push_back(i);
  }
  return whom;
}

void Watch::Moved(std::size_t worker, SteadyTime now) {
  Row& row = rows_.at(worker);
  row.asked.reset();
  row.moved_before = std::exchange(row.moved, now);
}

std::vector<Watch::Change> Watch::Look(SteadyTime now) {
  std::vector<Change> changes;
  const bool is_late = now - std::exchange(looked_, now) >= stuck_after_ / 2;
  for (std::size_t i = 0; i < rows_.size(); ++i) {
    Row& row = rows_[i];
    if (is_late && row.asked && !row.is_stuck) row.asked = now;
    const bool is_stuck = row.asked && now - *row.asked >= stuck_after_;
    if (is_stuck == row.is_stuck) continue;
    row.is_stuck = is_stuck;
    const auto silent = is_stuck ? now - row.moved : row.moved - row.moved_before;
    changes.push_back({i, is_stuck, std::chrono::duration_cast<milliseconds>(silent)});
  }
  return changes;
}

bool Watch::any_stuck() const { return std::ranges::any_of(rows_, &Row::is_stuck); }

bool Watch::AllMovedSince(SteadyTime since) const {
  return std::ranges::all_of(rows_, [since](const Row& row) { return row.moved > since; });
}

bool Pulse::Beat(const Watch& watch, SteadyTime now) {
  if (now - last_ < half_ || !watch.AllMovedSince(last_)) return false;
  last_ = now;
  return true;
}

std::optional<std::chrono::microseconds> WatchdogTime(const char* usec, const char* pid,
                                                      std::int64_t own_pid) {
  const auto number = [](const char* text) {
    std::int64_t value = 0;
    const char* const end = text + std::strlen(text);
    const auto read = std::from_chars(text, end, value);
    return read.ec == std::errc() && read.ptr == end ? value : std::int64_t{0};
  };
  if (usec == nullptr || (pid != nullptr && number(pid) != own_pid)) return std::nullopt;
  const std::int64_t granted = number(usec);
  if (granted <= 0) return std::nullopt;
  return std::chrono::microseconds(granted);
}

}  // namespace dwell::operate
