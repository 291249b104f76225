#include "mapping/line/history.h"

#include <algorithm>
#include <tuple>
#include <utility>

#include "schemas/base/check.h"

namespace dwell::line {
namespace {

using event::Event;
using event::Kind;

bool HappenedBefore(const Entry& a, const Entry& b) {
  const auto key = [](const Event& e) {
    return std::tie(e.happened.instant, e.recorded_at.instant, e.id);
  };
  return key(*a.event) < key(*b.event);
}

int IndexOf(const History& history, const std::string& id) {
  if (id.empty()) return kNone;
  for (int i = 0; i < history.size(); ++i) {
    if (history.event(i).id == id) return i;
  }
  return kNone;
}

/// Fills `replaced` and `retracted`.
void Refer(History* history) {
  const auto count = history->entries.size();
  history->replaced.assign(count, kNone);
  history->retracted.assign(count, kNone);
  for (std::size_t i = 0; i < count; ++i) {
    const Event& event = *history->entries[i].event;
    history->replaced[i] = IndexOf(*history, event.replaces);
    if (const auto* retraction = std::get_if<event::Retraction>(&event.body)) {
      history->retracted[i] = IndexOf(*history, retraction->retracts);
    }
  }
}

/// The first id of the chain that entry `i` ends. An event that has not arrived yet still gives the
/// chain its name, so that the identity of what is made does not change when it comes.
const std::string& RootId(const History& history, int i) {
  for (int steps = 0; steps < history.size(); ++steps) {  // a circle ends here, rules.cc refuses it
    const int target = history.replaced[static_cast<std::size_t>(i)];
    if (target == kNone) break;
    i = target;
  }
  const Event& first = history.event(i);
  return first.replaces.empty() ? first.id : first.replaces;
}

void Undo(History* history, int target, Standing standing, int by) {
  Entry& entry = history->entries[static_cast<std::size_t>(target)];
  const Event& event = history->event(by);
  if (entry.standing == standing) {  // twice: the later entry is the one to name
    for (const Entry& other : history->entries) {
      if (other.event->id == entry.undone_by && RecordedBefore(event, *other.event)) return;
    }
  }
  entry.standing = standing;
  entry.undone_by = event.id;
}

void Stand(History* history) {
  for (int i = 0; i < history->size(); ++i) {
    const int target = history->replaced[static_cast<std::size_t>(i)];
    if (target != kNone) Undo(history, target, Standing::kReplaced, i);
  }
  // Only then, because a retraction that was itself replaced does not count.
  for (int i = 0; i < history->size(); ++i) {
    const int target = history->retracted[static_cast<std::size_t>(i)];
    if (target != kNone && history->in_force(i)) Undo(history, target, Standing::kRetracted, i);
  }
}

void Bound(History* history) {
  for (int i = 0; i < history->size(); ++i) {
    if (!history->in_force(i)) continue;
    const Event& event = history->event(i);
    if (history->insertion == kNone && Places(event)) history->insertion = i;
    if (history->removal == kNone && event.kind() == Kind::kRemoval) history->removal = i;
  }
}

}  // namespace

bool Places(const Event& event) {
  const auto* insertion = std::get_if<event::Insertion>(&event.body);
  return insertion != nullptr && insertion->outcome == event::Outcome::kPlaced;
}

bool RecordedBefore(const Event& a, const Event& b) {
  return std::tie(a.recorded_at.instant, a.id) < std::tie(b.recorded_at.instant, b.id);
}

History MakeHistory(std::vector<std::shared_ptr<const Event>> events, std::chrono::minutes watch) {
  CHECK(!events.empty());
  History history;
  history.watch = watch;
  history.entries.reserve(events.size());
  for (auto& event : events) history.entries.push_back({std::move(event), {}, {}, {}});
  std::sort(history.entries.begin(), history.entries.end(), HappenedBefore);
  Refer(&history);
  for (int i = 0; i < history.size(); ++i) {
    history.entries[static_cast<std::size_t>(i)].root_id = RootId(history, i);
  }
  Stand(&history);
  Bound(&history);
  return history;
}

}  // namespace dwell::line
