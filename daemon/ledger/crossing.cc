#include "daemon/ledger/crossing.h"

#include <algorithm>
#include <chrono>

#include "mapping/line/targets.h"

namespace dwell::ledger {
namespace {

using Crossing = std::optional<line::Contradiction>;

bool Holds(const LineState& state, std::string_view id) {
  return std::ranges::any_of(state.events, [&](const auto& known) { return known->id == id; });
}

/// Id of the event of the line `line_seq` that names `id`; empty when it no longer does, because it
/// was a retraction and replaced.
Result<std::string> NamingEvent(store::Store& store, std::int64_t line_seq, std::string_view id) {
  const auto record = store.LoadLine(line_seq);
  if (record.has_error()) return record.error();
  if (!record.value()) return std::string();
  auto other = ReadLineState(*record.value());
  if (other.has_error()) return other.error();
  constexpr std::chrono::minutes kAnyTime = std::chrono::days(36500);  // what was stored is legal
  const auto line = line::Derive(other->key, std::move(other->events), kAnyTime);
  if (line.has_error()) {
    return Error(ErrorKind::kData, "a stored line contradicts itself");
  }
  const line::Entry* naming = line::WaitsFor(*line, id);
  return naming != nullptr ? naming->event->id : std::string();
}

/// The event of another line that waits for `id`; empty when none does.
Result<std::string> NamingEventElsewhere(store::Store& store, const LineState& state,
                                         std::string_view id) {
  const auto awaiting = store.AwaitedBy(state.key.source, id);
  if (awaiting.has_error()) return awaiting.error();
  if (!awaiting.value() || *awaiting.value() == state.seq) return std::string();
  return NamingEvent(store, *awaiting.value(), id);
}

}  // namespace

Result<Crossing> FindCrossing(store::Store& store, const LineState& state,
                              const event::Event& event) {
  for (const line::Target& target : line::TargetsOf(event)) {
    if (target.id.empty() || Holds(state, target.id)) continue;
    const auto known = store.FindEvent(event.source, target.id);
    if (known.has_error()) return known.error();
    if (known.value()) return Crossing(line::NamesOtherLine(event, target));
    const auto naming = NamingEventElsewhere(store, state, target.id);
    if (naming.has_error()) return naming.error();
    if (!naming->empty()) {
      return Crossing(line::NamesWhatOtherLineAwaits(event, target, *naming));
    }
  }
  const auto naming = NamingEventElsewhere(store, state, event.id);
  if (naming.has_error()) return naming.error();
  return naming->empty() ? Crossing() : Crossing(line::NamedByOtherLine(event, *naming));
}

Result<void> RememberNamed(store::Store& store, const LineState& state, const event::Event& event) {
  for (const line::Target& target : line::TargetsOf(event)) {
    if (target.id.empty() || Holds(state, target.id)) continue;
    const auto known = store.FindEvent(event.source, target.id);
    if (known.has_error()) return known.error();
    if (known.value()) continue;  // of a line that is damaged: not in `state`
    // Another line may still stand there with a retraction that no longer counts.
    Result<void> done = store.StopAwaiting(event.source, target.id);
    if (done.has_value()) done = store.Await(event.source, target.id, state.seq);
    if (done.has_error()) return done;
  }
  const auto awaiting = store.AwaitedBy(event.source, event.id);
  if (awaiting.has_error()) return awaiting.error();
  if (!awaiting.value()) return {};
  return store.StopAwaiting(event.source, event.id);
}

}  // namespace dwell::ledger
