#include "mapping/line/rules.h"

#include <array>
#include <string_view>

namespace dwell::line {
namespace {

using event::Event;
using event::Kind;

bool SamePatient(const event::Patient& a, const event::Patient& b) {
  return a.system == b.system && a.value == b.value;
}

int Replaces(const History& h, int i) { return h.replaced[static_cast<std::size_t>(i)]; }
int Retracts(const History& h, int i) { return h.retracted[static_cast<std::size_t>(i)]; }

// Each rule answers: with which other entry does entry `i` collide? kNone: with none.

int ReplacesInACircle(const History& h, int i) {
  int at = Replaces(h, i);
  for (int steps = 0; at != kNone && steps < h.size(); ++steps, at = Replaces(h, at)) {
    if (at == i) return Replaces(h, i);
  }
  return kNone;
}

int ReplacesOtherKind(const History& h, int i) {
  const int target = Replaces(h, i);
  return target != kNone && h.event(target).kind() != h.event(i).kind() ? target : kNone;
}

int ReplacedTwice(const History& h, int i) {
  if (!h.in_force(i) || h.event(i).replaces.empty()) return kNone;
  for (int other = 0; other < h.size(); ++other) {
    if (other != i && h.in_force(other) && h.at(other).root_id == h.at(i).root_id &&
        RecordedBefore(h.event(other), h.event(i))) {
      return other;
    }
  }
  return kNone;
}

int RetractsARetraction(const History& h, int i) {
  const int target = Retracts(h, i);
  if (target == kNone || !h.in_force(i)) return kNone;
  return h.event(target).kind() == Kind::kRetraction ? target : kNone;
}

int AlreadyRetracted(const History& h, int i) {
  const int target = Retracts(h, i);
  if (target == kNone || !h.in_force(i)) return kNone;
  for (int other = 0; other < h.size(); ++other) {
    if (other != i && h.in_force(other) && Retracts(h, other) == target &&
        RecordedBefore(h.event(other), h.event(i))) {
      return other;
    }
  }
  return kNone;
}

/// The retracted entry that the one in force at `i` replaces, directly or through others.
int RetractedAncestor(const History& h, int i) {
  if (!h.in_force(i)) return kNone;
  for (int at = Replaces(h, i); at != kNone; at = Replaces(h, at)) {
    if (h.at(at).standing == Standing::kRetracted) return at;
  }
  return kNone;
}

int ReplacesRetracted(const History& h, int i) {
  const int ancestor = RetractedAncestor(h, i);
  if (ancestor == kNone) return kNone;
  for (int x = 0; x < h.size(); ++x) {  // whoever wrote second did not know of the other
    if (Retracts(h, x) == ancestor && h.in_force(x)) {
      return RecordedBefore(h.event(x), h.event(i)) ? ancestor : kNone;
    }
  }
  return kNone;
}

int RetractsReplaced(const History& h, int i) {
  const int target = Retracts(h, i);
  if (target == kNone || !h.in_force(i)) return kNone;
  for (int other = 0; other < h.size(); ++other) {
    if (RetractedAncestor(h, other) == target && RecordedBefore(h.event(other), h.event(i))) {
      return other;
    }
  }
  return kNone;
}

int SecondInsertion(const History& h, int i) {
  return i != h.insertion && h.in_force(i) && Places(h.event(i)) ? h.insertion : kNone;
}

int SecondRemoval(const History& h, int i) {
  const bool removal = h.event(i).kind() == Kind::kRemoval;
  return removal && i != h.removal && h.in_force(i) ? h.removal : kNone;
}

/// Whether the order of time binds entry `i`: a retraction happens when it is written.
bool BoundByTime(const History& h, int i) {
  return h.in_force(i) && h.event(i).kind() != Kind::kRetraction;
}

int BeforeInsertion(const History& h, int i) {
  if (h.insertion == kNone || !BoundByTime(h, i)) return kNone;
  const Event& event = h.event(i);
  if (event.kind() == Kind::kInsertion) return kNone;  // a failed try before the one that placed it
  const bool before = event.happened.instant < h.event(h.insertion).happened.instant;
  return before ? h.insertion : kNone;
}

int AfterRemoval(const History& h, int i) {
  if (h.removal == kNone || !BoundByTime(h, i)) return kNone;
  const auto after = h.event(i).happened.instant - h.event(h.removal).happened.instant;
  if (after <= after.zero()) return kNone;
  if (h.event(i).kind() == Kind::kSiteCheck && after <= h.watch) return kNone;
  return h.removal;
}

int PatientIndex(const History& h) {
  if (h.insertion != kNone) return h.insertion;
  int best = 0;
  int best_rank = 0;  // 2: in force and no retraction, 1: no retraction
  for (int i = 0; i < h.size() && best_rank < 2; ++i) {
    if (h.event(i).kind() == Kind::kRetraction) continue;
    const int rank = h.in_force(i) ? 2 : 1;
    if (rank > best_rank) {
      best = i;
      best_rank = rank;
    }
  }
  return best;
}

int OtherPatient(const History& h, int i) {
  if (!h.in_force(i)) return kNone;
  const int line = PatientIndex(h);
  const auto& patient = h.event(i).patient;
  if (SamePatient(patient, h.event(line).patient)) return kNone;
  // What was entered for the wrong patient is retracted with the patient it was entered for.
  const int target = Retracts(h, i);
  if (target != kNone && SamePatient(patient, h.event(target).patient)) return kNone;
  return line;
}

struct RuleRow {
  std::string_view name;
  std::string_view pointer;  ///< into the offending event; empty: its time
  int (*collides_with)(const History& history, int index);
  std::string_view expected;  ///< the id of the other event follows, then `rest`
  std::string_view rest;
};

// Source of every row: the rules between events of the contract, version 1.
constexpr std::array kRules = {
    RuleRow{"replaces-in-a-circle", "/replaces", ReplacesInACircle,
            "an event that does not itself replace this one; it names ", ""},
    RuleRow{"replaces-other-kind", "/replaces", ReplacesOtherKind,
            "the kind of the event replaced, ", ""},
    RuleRow{"replaced-twice", "/replaces", ReplacedTwice, "to replace ",
            ", which already replaced the same event"},
    RuleRow{"retracts-a-retraction", "/retracts", RetractsARetraction,
            "an event other than a retraction, not ", "; enter the event anew instead"},
    RuleRow{"already-retracted", "/retracts", AlreadyRetracted, "an event in force; ",
            " already retracted this one"},
    RuleRow{"replaces-retracted", "/replaces", ReplacesRetracted, "an event in force, not ",
            ", which was retracted; enter the event anew instead"},
    RuleRow{"retracts-replaced", "/retracts", RetractsReplaced, "to retract ",
            ", which replaced this one"},
    RuleRow{"second-insertion", "/outcome", SecondInsertion,
            "one placed insertion for a line; it is ", ""},
    RuleRow{"second-removal", "/kind", SecondRemoval, "one removal of a line; it is ", ""},
    RuleRow{"before-insertion", "", BeforeInsertion, "not before the insertion ", ""},
    RuleRow{"after-removal", "", AfterRemoval, "not after the removal ",
            ", unless it is a site check within the watch time"},
    RuleRow{"other-patient", "/patient", OtherPatient, "the patient of the line, as in ", ""},
};

}  // namespace

const event::Patient& PatientOf(const History& history) {
  return history.event(PatientIndex(history)).patient;
}

std::optional<Contradiction> FindContradiction(const History& history) {
  for (const RuleRow& rule : kRules) {
    for (int i = 0; i < history.size(); ++i) {
      const int other = rule.collides_with(history, i);
      if (other == kNone) continue;
      const Event& event = history.event(i);
      std::string_view pointer = rule.pointer;
      if (pointer.empty()) pointer = event.happened_until ? "/happened_from" : "/happened_at";
      std::string expected(rule.expected);
      expected.append(history.event(other).id).append(rule.rest);
      return Contradiction{std::string(pointer), std::string(rule.name), std::move(expected),
                           event.id};
    }
  }
  return std::nullopt;
}

}  // namespace dwell::line
