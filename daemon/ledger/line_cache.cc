#include "daemon/ledger/line_cache.h"

#include <functional>
#include <utility>

#include "daemon/ledger/damage.h"
#include "daemon/ledger/issued_code.h"
#include "schemas/base/check.h"
#include "schemas/json/document.h"

namespace dwell::ledger {

Result<LineState> ReadLineState(const store::LineRecord& record) {
  if (record.no_longer_kept_since) {
    return Error(ErrorKind::kData, "the line ended, and its events have not been kept since " +
                                       FormatInstant(*record.no_longer_kept_since));
  }
  if (std::string damage = DamageOf(record); !damage.empty()) {
    return Error(ErrorKind::kData, std::move(damage));
  }
  LineState line;
  line.seq = record.seq;
  line.key = record.key;
  line.bundles = record.bundles;
  auto issued = DecodeIssued(record.issued);
  if (!issued) return Error(ErrorKind::kData, "a line's list of issued resources is unreadable");
  line.issued = std::move(*issued);
  line.events.reserve(record.raw_events.size() + 1);
  for (const std::string& raw : record.raw_events) {
    const auto document = schemas::Document::Parse(raw);
    if (document.has_error()) {
      return Error(ErrorKind::kData, "a stored event is no JSON any more");
    }
    auto event = event::ReadEvent(document->root());
    if (event.has_error()) {
      return Error(ErrorKind::kData, "a stored event does not fit its contract any more");
    }
    if (event->source != record.key.source || event->line_id != record.key.line_id) {
      return Error(ErrorKind::kData, "a stored event of this line names another line");
    }
    line.events.push_back(std::make_shared<const event::Event>(std::move(*event)));
  }
  return line;
}

std::size_t LineCache::HashKey::operator()(const line::Key& key) const {
  constexpr std::size_t kMix = 0x9e3779b97f4a7c15;  // the golden ratio's bits: spreads the sum
  const std::hash<std::string_view> hash;
  return hash(key.line_id) + kMix * hash(key.source);
}

LineState* LineCache::Find(const line::Key& key) {
  const auto found = by_key_.find(key);
  if (found == by_key_.end()) return nullptr;
  lines_.splice(lines_.begin(), lines_, found->second);
  return &lines_.front();
}

LineState* LineCache::Put(LineState line) {
  events_ += line.events.size();
  lines_.push_front(std::move(line));
  const bool added = by_key_.emplace(lines_.front().key, lines_.begin()).second;
  CHECK(added);
  MakeRoom();
  return &lines_.front();
}

void LineCache::Drop(const line::Key& key) {
  const auto found = by_key_.find(key);
  if (found == by_key_.end()) return;
  events_ -= found->second->events.size();
  lines_.erase(found->second);
  by_key_.erase(found);
}

void LineCache::MakeRoom() {
  while (events_ > events_max_ && lines_.size() > 1) {
    const line::Key oldest = lines_.back().key;
    Drop(oldest);
  }
}

}  // namespace dwell::ledger
