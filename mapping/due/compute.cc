// One walk along the line's life for each due rule.
#include <algorithm>
#include <tuple>
#include <utility>

#include "mapping/due/due.h"
#include "mapping/due/grades.h"
#include "mapping/due/rules.h"

namespace dwell::due {
namespace {

using event::Event;
using event::Kind;
using line::Entry;
using line::Line;
using line::Standing;

bool Places(const Event& event) {
  const auto* insertion = std::get_if<event::Insertion>(&event.body);
  return insertion != nullptr && insertion->outcome == event::Outcome::kPlaced;
}

/// Whether any rule may look at the event: retractions and tries that placed nothing start no
/// clock.
bool Counts(const Event& event) {
  return event.kind() != Kind::kRetraction && (event.kind() != Kind::kInsertion || Places(event));
}

/// A running clock of one rule.
struct Clock {
  const Entry* anchor = nullptr;
  std::optional<Start> start;        ///< empty: the policy sets no limit where the patient was
  const LineRules* rules = nullptr;  ///< by which `start` was judged
  /// Due by then, whatever `start` says: what was asked for once because of the patient's group or
  /// an infusion stands until somebody looks.
  std::optional<Instant> tighter;

  bool AtOnce() const { return start && start->due_at == anchor->event->happened.instant; }
};

class Computation {
 public:
  Computation(const Line& line, const Policy& policy, const Zone& zone, Instant now)
      : line_(line), policy_(policy), now_(now), frame_{policy, zone, nullptr, {}} {
    for (const Entry& entry : line.entries) {
      if (placed_ == nullptr && Places(*entry.event)) placed_ = &entry;
    }
    if (line.insertion() != nullptr) placed_ = line.insertion();
    FindCandidates();
    dues_.reserve(line.entries.size() + 8);
  }

  std::vector<Due> Run() {
    for (const RuleRow& row : RuleTable()) Follow(row);
    for (const RuleRow& row : RuleTable()) ListVoid(row);
    InsertionRecord();
    std::sort(dues_.begin(), dues_.end(), [](const Due& a, const Due& b) {
      return std::tie(a.from, a.rule, a.anchor_id) < std::tie(b.from, b.rule, b.anchor_id);
    });
    return std::move(dues_);
  }

 private:
  bool Live(const RuleRow& row, int index) const;
  void Follow(const RuleRow& row);
  void Begin(const RuleRow& row, const Entry& entry, Clock* clock);
  void Stop(const RuleRow& row, const Entry& entry, Clock* clock);
  void Tighten(const Entry& entry, Clock* clock) const;
  void Finish(const RuleRow& row, Clock* clock, Stage stage, const std::string& by);
  void ListVoid(const RuleRow& row);
  bool TryVoid(const RuleRow& row, const Entry& entry, const LineRules* rules);
  std::pair<Stage, std::string> WhyVoid(const RuleRow& row, const Entry& entry) const;
  void InsertionRecord();

  void FindCandidates();
  static const std::string& KindOf(const Entry& placed) {
    return std::get<event::Insertion>(placed.event->body).line->kind;
  }
  const LineRules* RulesAt(const std::string& ward) const {
    return placed_ == nullptr ? nullptr : policy_.Find(ward, KindOf(*placed_));
  }
  bool Listed(Rule rule, const std::string& anchor_id) const {
    return std::any_of(dues_.begin(), dues_.end(), [&](const Due& due) {
      return due.rule == rule && due.anchor_id == anchor_id;
    });
  }
  void Add(Rule rule, const Entry& anchor, const Start& start, Stage stage, const std::string& by,
           const std::string& ward, bool only_if_issued) {
    dues_.push_back({.rule = rule,
                     .anchor_id = anchor.root_id,
                     .from = anchor.event->happened.instant,
                     .due_at = start.due_at,
                     .stage = stage,
                     .changes_at = {},
                     .forgotten_from = {},
                     .settled_by = by,
                     .reason = std::string(start.reason),
                     .policy_name = policy_.name,
                     .policy_version = policy_.version,
                     .ward = ward,
                     .only_if_issued = only_if_issued});
  }
  void Open(const LineRules* rules, Due* due) const;
  Instant ForgottenFrom(const LineRules* rules, const Clock& clock, const Due& due) const;

  const Line& line_;
  const Policy& policy_;
  const Instant now_;
  const Entry* placed_ =
      nullptr;  ///< tells the kind of line: in force, else the first there ever was
  /// The rules by which the line may ever have been judged: of each kind it was said to be, on each
  /// ward it was said to be on. Nearly always one.
  std::vector<const LineRules*> candidates_;
  const std::vector<event::Code>* harmful_ = nullptr;  ///< ever told: a check may be judged by it
  std::vector<Due> dues_;

  // Of the walk in progress.
  Frame frame_;
  const Entry* last_ =
      nullptr;  ///< the newest entry walked past; its ward is where the patient was
};

/// Whether the walk of this rule passes the entry at `index`. On a line of unknown kind only the
/// signs that it must come out are followed.
bool Computation::Live(const RuleRow& row, int index) const {
  const Entry& entry = line_.entries[static_cast<std::size_t>(index)];
  if (entry.standing != Standing::kInForce || !Counts(*entry.event)) return false;
  const int removal = line_.removal_index;
  if (row.span == Span::kAfterRemoval) return removal >= 0 && index >= removal;
  if (removal >= 0 && index > removal) return false;
  if (line_.insertion_index < 0) return row.rule == Rule::kRemoveNow;
  return index >= line_.insertion_index;
}

void Computation::Follow(const RuleRow& row) {
  Clock clock;
  last_ = nullptr;
  frame_.care = {};
  for (int i = 0; i < static_cast<int>(line_.entries.size()); ++i) {
    if (!Live(row, i)) continue;
    const Entry& entry = line_.entries[static_cast<std::size_t>(i)];
    if (clock.anchor != nullptr) Stop(row, entry, &clock);
    const std::string& ward = entry.event->place.ward;
    if (line_.insertion_index < 0) {
      frame_.rules = &policy_.unknown_kind;
    } else if (last_ == nullptr || last_->event->place.ward != ward) {
      frame_.rules = RulesAt(ward);
    }
    last_ = &entry;
    frame_.care.Take(*entry.event);
    Begin(row, entry, &clock);
    if (row.tightens && clock.start) Tighten(entry, &clock);
  }
  if (clock.anchor != nullptr) Finish(row, &clock, Stage::kDue, {});
}

void Computation::Stop(const RuleRow& row, const Entry& entry, Clock* clock) {
  const Instant due_at = clock->start ? clock->start->due_at : Instant{};
  if (row.settles(*entry.event, due_at, frame_)) {
    Finish(row, clock, Stage::kSettled, entry.root_id);
  } else if (row.span == Span::kInPlace && entry.event->kind() == Kind::kRemoval) {
    Finish(row, clock, Stage::kNoLongerNeeded, entry.root_id);
  }
}

/// Never due before the ward told why, so that it is not overdue for a time when nobody knew.
void Computation::Tighten(const Entry& entry, Clock* clock) const {
  const auto interval = TighterInterval(frame_);
  if (!interval) return;
  const Instant told = entry.event->happened.instant;
  const Instant at = std::max(clock->anchor->event->happened.instant + *interval, told);
  if (!clock->tighter || at < *clock->tighter) clock->tighter = at;
}

/// What time makes of an open due.
void Computation::Open(const LineRules* rules, Due* due) const {
  const Progress progress = ProgressAt(due->due_at, TimingOf(policy_, rules), now_);
  due->stage = progress.stage;
  due->priority = progress.priority;
  if (due->rule == Rule::kRemoveNow && due->priority != Priority::kStat) {
    due->priority = static_cast<Priority>(static_cast<int>(due->priority) + 1);
  }
  due->escalation = progress.escalation;
  due->changes_at = progress.changes_at;
}

Instant Computation::ForgottenFrom(const LineRules* rules, const Clock& clock,
                                   const Due& due) const {
  const bool is_tighter = clock.tighter && *clock.tighter <= due.due_at;
  if (!is_tighter && rules != nullptr && !rules->check_rounds.empty()) {
    return frame_.zone.NextRound(due.due_at, rules->check_rounds);
  }
  return due.due_at + (due.due_at - due.from);
}

/// One due of a rule is open at a time. What must be done at once overtakes what is due some day;
/// otherwise a further reason for the same thing adds nothing.
void Computation::Begin(const RuleRow& row, const Entry& entry, Clock* clock) {
  if (!row.anchors(*entry.event, frame_)) return;
  Clock fresh{&entry, row.starts(*entry.event, frame_), frame_.rules, {}};
  if (clock->start) {
    if (!fresh.start) return;
    if (!fresh.AtOnce() || clock->AtOnce()) {
      Add(row.rule, entry, *fresh.start, Stage::kNoLongerNeeded, clock->anchor->root_id,
          entry.event->place.ward, true);
      return;
    }
    Finish(row, clock, Stage::kNoLongerNeeded, entry.root_id);
  }
  *clock = fresh;
}

/// Lists what the clock made due and stops the clock. A `stage` of kDue stands for any open one.
void Computation::Finish(const RuleRow& row, Clock* clock, Stage stage, const std::string& by) {
  const Clock finished = std::exchange(*clock, {});
  std::optional<Start> start = finished.start;
  const std::string* settled_by = &by;
  if (row.follows_ward && finished.rules != frame_.rules) {
    if (auto again = row.starts(*finished.anchor->event, frame_)) {
      start = again;
    } else {  // the ward where the patient is now does not ask for it
      stage = Stage::kNoLongerNeeded;
      settled_by = &last_->root_id;
    }
  }
  if (!start) return;
  if (finished.tighter) start->due_at = std::min(start->due_at, *finished.tighter);
  Add(row.rule, *finished.anchor, *start, stage, *settled_by, last_->event->place.ward, false);
  if (stage != Stage::kDue) return;
  Due& due = dues_.back();
  const LineRules* const rules = row.follows_ward ? frame_.rules : finished.rules;
  Open(rules, &due);
  if (row.rule == Rule::kSiteCheck) due.forgotten_from = ForgottenFrom(rules, finished, due);
}

void Computation::FindCandidates() {
  const std::string* ward = nullptr;
  for (const Entry& entry : line_.entries) {
    const auto& infusions = entry.event->infusions;
    if (infusions && IsHarmful(*infusions)) harmful_ = &*infusions;
    if (ward != nullptr && *ward == entry.event->place.ward) continue;
    ward = &entry.event->place.ward;
    for (const Entry& placed : line_.entries) {
      if (!Places(*placed.event)) continue;
      const LineRules* rules = policy_.Find(*ward, KindOf(placed));
      if (std::find(candidates_.begin(), candidates_.end(), rules) == candidates_.end()) {
        candidates_.push_back(rules);
      }
    }
  }
}

/// Lists what this rule would ask for after events that no longer count, lie outside its span, or
/// are judged by other rules now: it may have been told before a late, corrected or retracted event
/// changed the line's life.
void Computation::ListVoid(const RuleRow& row) {
  const bool remove_now = row.rule == Rule::kRemoveNow;
  for (int i = 0; i < static_cast<int>(line_.entries.size()); ++i) {
    const Entry& entry = line_.entries[static_cast<std::size_t>(i)];
    if (!Counts(*entry.event)) continue;
    if (!remove_now && candidates_.size() == 1 && Live(row, i)) continue;
    for (const LineRules* rules : candidates_) {
      if (TryVoid(row, entry, rules)) break;
    }
    if (remove_now || row.span == Span::kAfterRemoval) {  // asked for on unknown lines too
      TryVoid(row, entry, &policy_.unknown_kind);
    }
  }
}

/// Whether by these rules the event starts something; lists it unless it is listed already.
bool Computation::TryVoid(const RuleRow& row, const Entry& entry, const LineRules* rules) {
  frame_.rules = rules;
  frame_.care = {.infusions = harmful_};
  if (!row.anchors(*entry.event, frame_)) return false;
  const auto start = row.starts(*entry.event, frame_);
  if (!start) return false;
  if (!Listed(row.rule, entry.root_id)) {
    const auto [stage, by] = WhyVoid(row, entry);
    Add(row.rule, entry, *start, stage, by, entry.event->place.ward, true);
  }
  return true;
}

std::pair<Stage, std::string> Computation::WhyVoid(const RuleRow& row, const Entry& entry) const {
  const auto undone = [this](const Entry& target) {
    const Entry* by = line_.Find(target.undone_by);
    return std::pair(Stage::kEnteredInError, by == nullptr ? std::string() : by->root_id);
  };
  if (entry.standing != Standing::kInForce) return undone(entry);
  const bool needs_insertion = row.span == Span::kInPlace && row.rule != Rule::kRemoveNow;
  if (needs_insertion && line_.insertion() == nullptr) return undone(*placed_);
  const Entry* end = line_.removal();
  if (end == nullptr) end = line_.insertion();
  return {Stage::kNoLongerNeeded, end == nullptr ? std::string() : end->root_id};
}

void Computation::InsertionRecord() {
  const Entry* first = nullptr;  // in force if there is one
  for (const Entry& entry : line_.entries) {
    if (!Counts(*entry.event) || entry.event->kind() == Kind::kInsertion) continue;
    const bool better = first == nullptr || (first->standing != Standing::kInForce &&
                                             entry.standing == Standing::kInForce);
    if (better) first = &entry;
  }
  if (first == nullptr) return;
  const Instant due_at = first->event->happened.instant;
  Add(Rule::kInsertionRecordMissing, *first, Start{due_at, {}}, Stage::kDue, {},
      first->event->place.ward, false);
  Due& due = dues_.back();
  due.anchor_id = line_.key.line_id;
  if (line_.insertion() != nullptr) {
    due.stage = Stage::kSettled;
    due.settled_by = line_.insertion()->root_id;
    due.only_if_issued = true;
  } else if (first->standing != Standing::kInForce) {
    const Entry* by = line_.Find(first->undone_by);
    due.stage = Stage::kEnteredInError;
    due.settled_by = by == nullptr ? std::string() : by->root_id;
    due.only_if_issued = true;
  } else {
    Open(nullptr, &due);
  }
}

}  // namespace

std::vector<Due> Compute(const Line& line, const Policy& policy, const Zone& zone, Instant now) {
  return Computation(line, policy, zone, now).Run();
}

}  // namespace dwell::due
