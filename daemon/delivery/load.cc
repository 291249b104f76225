#include "daemon/delivery/load.h"

#include <algorithm>
#include <limits>

#include "mapping/fhir/bundle.h"
#include "schemas/base/check.h"

namespace dwell::delivery {
namespace {

using Shape = Answered::Shape;

// "Prefer", R4 http.html#ops: of a bundle the statuses are enough. Of a single resource the answer
// is the only sign that it was the FHIR server who took it.
constexpr std::string_view kBundleFields =
    "Content-Type: application/fhir+json\r\nPrefer: return=minimal\r\n";
constexpr std::string_view kSingleFields =
    "Content-Type: application/fhir+json\r\nPrefer: return=representation\r\n";

Verdict Untouched() {
  Verdict verdict;
  verdict.course = Course::kPause;
  verdict.untouched = true;
  verdict.why = "nothing of it was sent yet";
  return verdict;
}

Verdict Unreadable() {
  Verdict verdict;
  verdict.course = Course::kHold;
  verdict.why = "the stored bundle is not as it was written; it was not sent";
  return verdict;
}

Verdict Apart(const Verdict& whole) {
  Verdict verdict;
  verdict.course = Course::kWait;
  verdict.apart = true;
  verdict.uncertain = whole.uncertain;
  verdict.too_large = whole.too_large;
  verdict.status = whole.status;
  verdict.why = whole.why;
  return verdict;
}

}  // namespace

Load::Load(const WriteStyle& style, std::string_view base, std::vector<Parcel> parcels)
    : style_(style), base_(base), parcels_(std::move(parcels)) {
  CHECK(!parcels_.empty());
  verdicts_.assign(parcels_.size(), Untouched());
  taken_.assign(parcels_.size(), 0);
  Read();
  Plan();
  Prepare();
}

bool Load::IsAsFrozen() const {
  return style_.interaction == Interaction::kTransaction &&
         style_.identity == Identity::kUpdateAsCreate;
}

/// What of the bodies has to be known. A body that cannot be read is never sent.
void Load::Read() {
  if (IsAsFrozen() && parcels_.size() == 1) return;
  for (std::size_t i = 0; i < parcels_.size(); ++i) {
    bool is_read = false;
    if (IsAsFrozen()) {
      const auto text = fhir::EntriesText(parcels_[i].body);
      is_read = text.has_value();
      texts_.push_back(text.value_or(std::string_view()));
    } else {
      entries_.push_back(EntriesOf(parcels_[i].body, style_.interaction, style_.identity));
      is_read = entries_.back().size() == parcels_[i].sent.entries;
    }
    if (!is_read) verdicts_[i] = Unreadable();
  }
}

/// Which entries go in which request.
void Load::Plan() {
  Slots all;
  for (std::size_t i = 0; i < parcels_.size(); ++i) {
    if (verdicts_[i].course != Course::kHold) all.push_back({i, 0, parcels_[i].sent.entries});
  }
  if (all.empty()) return;
  std::size_t most = std::numeric_limits<std::size_t>::max();
  if (style_.interaction == Interaction::kSingle) most = 1;
  if (style_.interaction == Interaction::kBatch && all.size() == 1) most = style_.entries_max;
  if (most >= EntriesIn(all)) {
    requests_.push_back(std::move(all));
    return;
  }
  for (const Slot& slot : all) {
    for (std::size_t first = 0; first < slot.count; first += most) {
      requests_.push_back({{slot.parcel, first, std::min(most, slot.count - first)}});
    }
  }
}

std::size_t Load::EntriesIn(const Slots& slots) const {
  std::size_t count = 0;
  for (const Slot& slot : slots) count += slot.count;
  return count;
}

std::optional<Outgoing> Load::Next() const {
  if (request_ >= requests_.size()) return std::nullopt;
  return Outgoing{method_, target_, fields_, body_};
}

const std::vector<Verdict>& Load::verdicts() const {
  CHECK(request_ >= requests_.size());
  return verdicts_;
}

/// Writes the next request, if there is one.
void Load::Prepare() {
  if (request_ >= requests_.size()) return;
  const Slots& slots = requests_[request_];
  if (style_.interaction == Interaction::kSingle) return PrepareSingle(slots.front());
  target_ = base_;
  fields_ = kBundleFields;
  if (!texts_.empty()) {
    std::vector<std::string_view> texts;
    for (const Slot& slot : slots) texts.push_back(texts_[slot.parcel]);
    built_ = fhir::JoinEntries(texts);
  } else if (!entries_.empty()) {
    std::vector<const Entry*> entries;
    for (const Slot& slot : slots) {
      for (std::size_t i = 0; i < slot.count; ++i) {
        entries.push_back(&entries_[slot.parcel][slot.first + i]);
      }
    }
    built_ = BundleOf(style_.interaction, entries);
  }
  body_ = built_.empty() ? parcels_.front().body : std::string_view(built_);
}

void Load::PrepareSingle(const Slot& slot) {
  const Entry& entry = entries_[slot.parcel][slot.first];
  method_ = entry.method;
  target_ = base_;
  if (target_.empty() || target_.back() != '/') target_ += '/';
  target_ += entry.url;
  fields_ = kSingleFields;
  if (!entry.if_none_exist.empty()) {  // percent-encoded where it was made
    fields_.append("If-None-Exist: ").append(entry.if_none_exist).append("\r\n");
  }
  body_ = entry.resource;
}

void Load::Take(const net::Exchange& exchange, Instant now) {
  CHECK(request_ < requests_.size());
  const Slots& slots = requests_[request_];
  entries_taken_ = EntriesIn(slots);
  const bool is_single = style_.interaction == Interaction::kSingle;
  const bool is_good =
      is_single ? TakeSingle(slots.front(), exchange, now) : TakeBundle(slots, exchange, now);
  request_ = is_good ? request_ + 1 : requests_.size();
  Prepare();
}

bool Load::TakeSingle(const Slot& slot, const net::Exchange& exchange, Instant now) {
  const Entry& entry = entries_[slot.parcel][slot.first];
  Verdict verdict = JudgeSingle(exchange, entry.type, parcels_[slot.parcel].sent, now);
  const bool is_good = verdict.course == Course::kDone;
  if (!is_good) verdict.why = "entry " + std::to_string(slot.first + 1) + ": " + verdict.why;
  Settle(slot, std::move(verdict), is_good ? 1 : 0);
  return is_good;
}

bool Load::TakeBundle(const Slots& slots, const net::Exchange& exchange, Instant now) {
  const bool is_batch = style_.interaction == Interaction::kBatch;
  const bool has_company = slots.size() > 1;
  Sent sent = parcels_[slots.front().parcel].sent;
  // In company nobody's attempts are used up, so that what would be held in the end is so at once.
  if (has_company) sent.attempts = std::numeric_limits<std::uint32_t>::max() - 1;
  sent.entries = entries_taken_;
  const Answered answer = ReadAnswerOf(exchange);
  const Verdict whole =
      JudgeWhole(exchange, answer, is_batch ? Shape::kBatch : Shape::kResponse, sent, now);
  if (whole.course != Course::kDone) {
    const bool is_refused = whole.course == Course::kHold || whole.course == Course::kWait;
    const bool can_shrink = is_batch && whole.too_large && entries_taken_ > 1;
    const bool goes_apart = has_company ? is_refused : can_shrink;
    for (const Slot& slot : slots) Settle(slot, goes_apart ? Apart(whole) : whole, 0);
    return false;
  }
  bool is_good = true;
  std::size_t before = 0;
  for (const Slot& slot : slots) {
    is_good = TakeSlot(slot, before, answer) && is_good;
    before += slot.count;
  }
  return is_good;
}

/// The entries of the answer behind the first `before` are those of `slot`.
bool Load::TakeSlot(const Slot& slot, std::size_t before, const Answered& answer) {
  Verdict worst;
  std::size_t bad = 0;
  for (BadEntry entry : answer.bad) {
    if (entry.number <= before || entry.number > before + slot.count) continue;
    ++bad;
    entry.number += slot.first - before;  // as the bundle counts
    Verdict verdict = JudgeEntry(entry, parcels_[slot.parcel].sent);
    if (IsWorse(verdict, worst)) worst = std::move(verdict);
  }
  Settle(slot, std::move(worst), slot.count - bad);
  return bad == 0;
}

/// `taken` entries of the slot are there; `verdict` is about the rest of it.
void Load::Settle(const Slot& slot, Verdict verdict, std::size_t taken) {
  std::size_t& sum = taken_[slot.parcel];
  sum += taken;
  const std::size_t all = parcels_[slot.parcel].sent.entries;
  if (verdict.course == Course::kDone && sum < all) return;  // more to come
  if (verdict.course != Course::kDone && sum > 0) {
    verdict.uncertain = true;
    verdict.untouched = false;
    verdict.why +=
        "; " + std::to_string(sum) + " of " + std::to_string(all) + " entries were taken";
  }
  verdicts_[slot.parcel] = std::move(verdict);
}

}  // namespace dwell::delivery
