// A policy from its document: figures, times of day and names, and what a schema cannot say.
#include <algorithm>
#include <array>
#include <charconv>

#include "mapping/due/policy.h"
#include "schemas/formats.h"

namespace dwell::due {
namespace {

using schemas::Value;
using std::chrono::hours;
using std::chrono::minutes;

/// What is wrong with the policy, with places, one per line.
class Problems {
 public:
  void Add(const std::string& place, std::string_view what) {
    if (!text_.empty()) text_ += "\n";
    text_.append(place).append(": ").append(what);
  }
  const std::string& text() const { return text_; }

 private:
  std::string text_;
};

/// The whole number called `name` of the object at `place`; empty when it is not there or none.
std::optional<int> Integer(Value object, std::string_view name, const std::string& place,
                           Problems* problems) {
  const auto found = object.Find(name);
  if (!found) return std::nullopt;
  const std::string_view text = found->NumberText();
  int number = 0;
  const auto parsed = std::from_chars(text.data(), text.data() + text.size(), number);
  if (parsed.ec == std::errc() && parsed.ptr == text.data() + text.size()) return number;
  problems->Add(place + "/" + std::string(name), "a whole number without point or exponent");
  return std::nullopt;
}

template <class Unit, class Target>
void Duration(Value object, std::string_view name, const std::string& place, Target* target,
              Problems* problems) {
  if (const auto number = Integer(object, name, place, problems)) *target = Unit(*number);
}

void Truth(Value object, std::string_view name, bool* target) {
  if (const auto found = object.Find(name)) *target = found->AsBool();
}

void Text(Value object, std::string_view name, std::string* target) {
  if (const auto found = object.Find(name)) *target = found->AsString();
}

/// "06:00" as minutes after midnight; empty when it is no time of day.
std::optional<minutes> TimeOfDay(std::string_view text) {
  const auto digit = [&text](std::size_t at) { return text[at] - '0'; };
  if (text.size() != 5 || text[2] != ':') return std::nullopt;
  for (const std::size_t at : {0U, 1U, 3U, 4U}) {
    if (digit(at) < 0 || digit(at) > 9) return std::nullopt;
  }
  const int hour = digit(0) * 10 + digit(1);
  const int minute = digit(3) * 10 + digit(4);
  if (hour > 23 || minute > 59) return std::nullopt;
  return minutes(hour * 60 + minute);
}

void ReadRounds(Value rules, const std::string& place, std::vector<minutes>* rounds,
                Problems* problems) {
  const auto found = rules.Find("check_rounds");
  if (!found) return;
  for (const Value round : *found) {
    const auto time = TimeOfDay(round.AsString());
    if (!time) {
      problems->Add(place + "/check_rounds", "a round is a time of day, \"00:00\" to \"23:59\"");
    } else {
      rounds->push_back(*time);
    }
  }
  std::sort(rounds->begin(), rounds->end());
  if (std::adjacent_find(rounds->begin(), rounds->end()) != rounds->end()) {
    problems->Add(place + "/check_rounds", "the same round is listed twice");
  }
}

/// What no event can tell would never be found: a typo, or another way of writing.
void CheckName(std::string_view name, const std::string& place, Problems* problems) {
  if (!schemas::FindPattern("^[a-z0-9]+([.-][a-z0-9]+)*$")->matches(name)) {
    problems->Add(place, "a name is a code as events send it: lower case words joined by '-'");
  }
}

void ReadIntervals(Value rules, std::string_view name, const std::string& place,
                   MinutesByName* intervals, Problems* problems) {
  const auto found = rules.Find(name);
  if (!found) return;
  const std::string inside = place + "/" + std::string(name);
  for (const Value interval : *found) {
    CheckName(interval.name(), inside, problems);
    minutes* target = &(*intervals)[std::string(interval.name())];
    Duration<minutes>(*found, interval.name(), inside, target, problems);
  }
}

/// When the site is looked at.
void ReadChecks(Value object, const std::string& place, LineRules* rules, Problems* problems) {
  ReadRounds(object, place, &rules->check_rounds, problems);
  Duration<minutes>(object, "check_interval_min", place, &rules->check_interval, problems);
  ReadIntervals(object, "check_interval_by_patient_group_min", place,
                &rules->check_interval_by_patient_group, problems);
  ReadIntervals(object, "check_interval_by_infusion_min", place, &rules->check_interval_by_infusion,
                problems);
  if (!rules->check_rounds.empty() && rules->check_interval) {
    problems->Add(place + "/check_interval_min", "beside check_rounds: give one of them");
  }
  const bool tighter =
      !rules->check_interval_by_patient_group.empty() || !rules->check_interval_by_infusion.empty();
  if (tighter && rules->check_rounds.empty() && !rules->check_interval) {
    problems->Add(place,
                  "tighter intervals need check_rounds or check_interval_min beside them, "
                  "for everybody else");
  }
}

void ReadDressings(Value object, const std::string& place, LineRules* rules, Problems* problems) {
  const auto dressings = object.Find("dressing_max_h");
  if (!dressings) return;
  for (const Value limit : *dressings) {
    const std::string_view type = limit.name();
    minutes* target = &rules->dressing_max[std::string(type == "default" ? "" : type)];
    Duration<hours>(*dressings, type, place + "/dressing_max_h", target, problems);
  }
}

void Lower(std::optional<int>* strictest, const std::optional<int>& grade) {
  if (grade && (!*strictest || *grade < **strictest)) *strictest = grade;
}

/// One grade for whatever scale, or a grade for each scale; a grade on a scale that is not listed
/// is judged by the strictest.
void ReadPhlebitisGrades(Value object, const std::string& place, LineRules* rules,
                         Problems* problems) {
  constexpr std::string_view kName = "remove_at_phlebitis_grade";
  const auto found = object.Find(kName);
  if (!found) return;
  if (!found->is_object()) {
    rules->remove_at_phlebitis_grade = Integer(object, kName, place, problems);
    return;
  }
  for (const Value limit : *found) {
    const auto grade = Integer(*found, limit.name(), place + "/" + std::string(kName), problems);
    if (!grade) continue;
    rules->remove_at_grade_of_scale.emplace(limit.name(), *grade);
    Lower(&rules->remove_at_phlebitis_grade, grade);
  }
}

void ReadTriggers(Value object, const std::string& place, LineRules* rules, Problems* problems) {
  ReadPhlebitisGrades(object, place, rules, problems);
  Truth(object, "remove_on_trial_phlebitis", &rules->remove_on_trial_phlebitis);
  rules->remove_at_infiltration_grade =
      Integer(object, "remove_at_infiltration_grade", place, problems);
  Truth(object, "remove_on_swelling_at_flush", &rules->remove_on_swelling_at_flush);
  Truth(object, "remove_when_not_needed", &rules->remove_when_not_needed);
}

Priority PriorityOf(std::string_view code) {
  constexpr std::array kAll = {Priority::kUrgent, Priority::kAsap, Priority::kStat};
  const auto found = std::ranges::find(kAll, code, PriorityCode);
  return found != kAll.end() ? *found : Priority::kRoutine;
}

void ReadEscalation(Value object, const std::string& place, Escalation* steps, Problems* problems) {
  const auto found = object.Find("escalation");
  if (!found) return;
  const std::string inside = place + "/escalation";
  for (const Value item : *found) {
    EscalationStep step{};
    Duration<minutes>(item, "after_due_min", inside, &step.after, problems);
    if (const auto code = item.Find("priority")) step.priority = PriorityOf(code->AsString());
    const bool rises = steps->empty() ||
                       (step.after > steps->back().after && step.priority > steps->back().priority);
    if (!rises) problems->Add(inside, "each step is later than the one before, and more urgent");
    steps->push_back(step);
  }
}

LineRules ReadRules(Value object, const std::string& place, Problems* problems) {
  LineRules rules;
  Duration<hours>(object, "dwell_max_h", place, &rules.dwell_max, problems);
  Duration<hours>(object, "dwell_max_emergency_h", place, &rules.dwell_max_emergency, problems);
  if (rules.dwell_max && rules.dwell_max_emergency &&
      *rules.dwell_max_emergency > *rules.dwell_max) {
    problems->Add(place + "/dwell_max_emergency_h", "longer than dwell_max_h");
  }
  ReadChecks(object, place, &rules, problems);
  ReadDressings(object, place, &rules, problems);
  ReadTriggers(object, place, &rules, problems);
  Duration<minutes>(object, "due_soon_min", place, &rules.due_soon, problems);
  Duration<minutes>(object, "grace_min", place, &rules.grace, problems);
  Duration<hours>(object, "watch_h", place, &rules.watch, problems);
  ReadEscalation(object, place, &rules.escalation, problems);
  return rules;
}

using RulesByKind = std::map<std::string, LineRules, std::less<>>;

RulesByKind ReadKinds(Value object, const std::string& place, Problems* problems) {
  RulesByKind kinds;
  for (const Value kind : object) {
    const std::string name(kind.name());
    std::string rules_place = place;
    rules_place.append("/").append(name);
    kinds.insert_or_assign(name, ReadRules(kind, rules_place, problems));
  }
  return kinds;
}

LineRules Strictest(const RulesByKind& kinds) {
  LineRules strictest;
  strictest.remove_on_swelling_at_flush = false;
  strictest.remove_when_not_needed = false;
  for (const auto& [kind, rules] : kinds) {
    Lower(&strictest.remove_at_phlebitis_grade, rules.remove_at_phlebitis_grade);
    Lower(&strictest.remove_at_infiltration_grade, rules.remove_at_infiltration_grade);
    strictest.remove_on_swelling_at_flush |= rules.remove_on_swelling_at_flush;
    strictest.remove_when_not_needed |= rules.remove_when_not_needed;
    strictest.remove_on_trial_phlebitis |= rules.remove_on_trial_phlebitis;
  }
  return strictest;
}

void ReadKnown(Value document, std::string_view name, Names* names) {
  const auto found = document.Find(name);
  if (!found) return;
  for (const Value known : *found) names->emplace(known.AsString());
}

/// What any rules name is known everywhere: where other rules leave it out, they mean it.
void LearnNames(const RulesByKind& kinds, Policy* policy) {
  for (const auto& [kind, rules] : kinds) {
    for (const auto& [name, interval] : rules.check_interval_by_patient_group) {
      policy->patient_groups.insert(name);
    }
    for (const auto& [name, interval] : rules.check_interval_by_infusion) {
      policy->infusions.insert(name);
    }
  }
}

}  // namespace

Result<Policy> ReadPolicy(Value document) {
  Policy policy;
  Problems problems;
  Text(document, "name", &policy.name);
  Text(document, "version", &policy.version);
  Duration<minutes>(document, "due_soon_min", "", &policy.due_soon, &problems);
  Duration<minutes>(document, "grace_min", "", &policy.grace, &problems);
  Duration<hours>(document, "watch_h", "", &policy.watch, &problems);
  ReadEscalation(document, "", &policy.escalation, &problems);
  ReadKnown(document, "known_patient_groups", &policy.patient_groups);
  ReadKnown(document, "known_infusions", &policy.infusions);
  if (const auto kinds = document.Find("kinds")) {
    policy.by_kind = ReadKinds(*kinds, "/kinds", &problems);
  }
  if (const auto wards = document.Find("wards")) {
    for (const Value ward : *wards) {
      const std::string name(ward.name());
      policy.by_ward.insert_or_assign(name, ReadKinds(ward, "/wards/" + name, &problems));
    }
  }
  LearnNames(policy.by_kind, &policy);
  for (const auto& [ward, kinds] : policy.by_ward) LearnNames(kinds, &policy);
  policy.unknown_kind = Strictest(policy.by_kind);
  if (!problems.text().empty()) return Error(ErrorKind::kConfig, problems.text());
  return policy;
}

}  // namespace dwell::due
