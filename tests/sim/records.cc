#include "tests/sim/records.h"

#include <algorithm>

namespace dwell::sim {
namespace {

using store::DeliveryState;

constexpr std::size_t kRowsMax = 10'000;
// The clock's own deliveries and what was taken in one transaction come on top of the limit.
constexpr std::uint64_t kQueueSlack = 300;
// Later than this nothing due may be told: the alarm's look, a commit, a delivery, and the lane's
// wait behind another line's attempt.
constexpr std::chrono::minutes kTellingTime{20};

std::string Numbers(const store::Counts& counts) {
  std::string text;
  for (const std::uint64_t count : {counts.events, counts.lines, counts.ready, counts.in_progress,
                                    counts.completed, counts.on_hold, counts.cancelled}) {
    text += std::to_string(count) + " ";
  }
  return text;
}

void Count(store::Counts& counts, DeliveryState state) {
  switch (state) {
    case DeliveryState::kReady:
      ++counts.ready;
      break;
    case DeliveryState::kInProgress:
      ++counts.in_progress;
      break;
    case DeliveryState::kCompleted:
      ++counts.completed;
      break;
    case DeliveryState::kOnHold:
      ++counts.on_hold;
      break;
    case DeliveryState::kCancelled:
      ++counts.cancelled;
      break;
  }
}

}  // namespace

void Records::Answered(const Told& told, bool is_legal, const intake::Reply& reply) {
  findings_.Trace("  answered " + std::to_string(reply.status) + " to " + told.id +
                  (reply.status >= 400 ? ": " + reply.body : ""));
  const auto known = acknowledged_.find(told.id);
  const bool is_same = known != acknowledged_.end() && known->second == told.raw;
  switch (reply.status) {
    case 201:
      if (!is_legal) findings_.Broken("legal events only", told.id + " was taken");
      if (known != acknowledged_.end()) findings_.Broken("I2 lost", told.id + " was new again");
      acknowledged_.emplace(told.id, told.raw);
      break;
    case 200:
      if (known != acknowledged_.end() && !is_same) {
        findings_.Broken("same id, same content", told.id);
      }
      acknowledged_.emplace(told.id, told.raw);
      break;
    case 400:
    case 409:
    case 413:
    case 422:
      if (is_same) findings_.Broken("a repeat is the same event", told.id + " was refused");
      break;
    case 503:
      break;
    default:
      findings_.Broken("answers", told.id + " got " + std::to_string(reply.status));
  }
}

Result<void> Records::CheckBooks(store::Store& store) {
  const auto rows = store.ListQueue(0, kRowsMax);
  if (rows.has_error()) return rows.error();
  store::Counts counts = store.counts();
  store::Counts counted = counts;
  counted.ready = counted.in_progress = counted.on_hold = 0;
  for (const store::QueueRow& row : *rows) {
    Count(counted, row.state);
    if (row.why.find(Peer::kSecret) != std::string::npos) findings_.Broken("I8 secret", row.why);
  }
  if (Numbers(counts) != Numbers(counted)) {
    findings_.Broken("I7 counts", Numbers(counts) + "but the queue has " + Numbers(counted));
  }
  if (rows->size() > kQueueMax + kQueueSlack) {
    findings_.Broken("I6 queue", std::to_string(rows->size()) + " deliveries wait");
  }
  return {};
}

Result<void> Records::CheckAll(store::Store& store) {
  for (const auto& [id, raw] : acknowledged_) {
    const auto event = store.FindEvent(Ward::kSource, id);
    if (event.has_error()) return event.error();
    if (!event->has_value() || (*event)->raw != raw) {
      findings_.Broken("I2 lost", id + " was acknowledged and is not stored");
    }
  }
  store::Counts counted;
  const auto lines = store.ListLines(0, kRowsMax);
  if (lines.has_error()) return lines.error();
  for (const store::LineRecord& line : *lines) {
    const auto whole = store.LoadLine(line.seq);
    if (whole.has_error()) return whole.error();
    counted.events += (*whole)->raw_events.size();
  }
  counted.lines = lines->size();
  std::int64_t seq = 1;
  for (;; ++seq) {
    const auto bundle = store.FindBundle(seq);
    if (bundle.has_error()) return bundle.error();
    if (!bundle->has_value()) break;
    Count(counted, (*bundle)->state);
    CheckBundle(**bundle);
  }
  if (peer_.taken().rbegin() != peer_.taken().rend() && peer_.taken().rbegin()->first >= seq) {
    findings_.Broken("I2 lost", "the record holds a delivery that is not stored");
  }
  if (Numbers(store.counts()) != Numbers(counted)) {
    findings_.Broken("I7 counts",
                     Numbers(store.counts()) + "but the tables have " + Numbers(counted));
  }
  return {};
}

void Records::CheckBundle(const store::BundleRecord& bundle) {
  const std::string name = "bundle " + std::to_string(bundle.seq) + " is " +
                           std::string(DeliveryStateName(bundle.state));
  const auto taken = peer_.taken().find(bundle.seq);
  const bool is_taken = taken != peer_.taken().end();
  if (bundle.state == DeliveryState::kCompleted && !is_taken) {
    findings_.Broken("completed means taken", name + " and the record does not have it");
  }
  const bool is_settled =
      bundle.state != DeliveryState::kInProgress && bundle.state != DeliveryState::kCompleted;
  if (is_taken && is_settled && !bundle.uncertain) {
    findings_.Broken("uncertain is never failed", name + " for certain, and the record has it");
  }
  if (is_taken && bundle.kept && taken->second.body != bundle.body) {
    findings_.Broken("same bytes", name + " and the record has other bytes");
  }
  if (!bundle.kept && bundle.state != DeliveryState::kCompleted &&
      bundle.state != DeliveryState::kCancelled) {
    findings_.Broken("I2 lost", name + " and has no body");
  }
}

Result<void> Records::CheckEnd(store::Store& store, Instant wall) {
  Result<void> all = CheckAll(store);
  if (all.has_error()) return all;
  std::set<std::int64_t> held_lanes;
  std::int64_t seq = 1;
  for (;; ++seq) {
    const auto bundle = store.FindBundle(seq);
    if (bundle.has_error()) return bundle.error();
    if (!bundle->has_value()) break;
    const DeliveryState state = (*bundle)->state;
    if (state == DeliveryState::kOnHold) held_lanes.insert((*bundle)->line_seq);
    const bool is_open = state == DeliveryState::kReady || state == DeliveryState::kInProgress;
    if (is_open && !held_lanes.contains((*bundle)->line_seq)) {
      findings_.Broken("liveness", "bundle " + std::to_string(seq) +
                                       " still waits: " + (*bundle)->why + ", until " +
                                       FormatInstant((*bundle)->not_before));
    }
    if (state == DeliveryState::kCancelled) held_lanes.insert((*bundle)->line_seq);
  }
  CheckTasks(held_lanes, wall);
  return {};
}

void Records::CheckTasks(const std::set<std::int64_t>& held_lanes, Instant wall) {
  for (const auto& [name, task] : peer_.tasks()) {
    if (held_lanes.contains(task.lane) || task.due_at == Instant::min()) continue;
    if (task.status == "requested" && task.due_at + kTellingTime < wall) {
      findings_.Broken("told when due", name + " was due at " + FormatInstant(task.due_at) +
                                            ", it is " + FormatInstant(wall));
    }
  }
}

}  // namespace dwell::sim
