#include "mapping/due/policy.h"

#include <algorithm>
#include <charconv>
#include <limits>

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

LineRules ReadRules(Value object, const std::string& place, Problems* problems) {
  LineRules rules;
  Duration<hours>(object, "dwell_max_h", place, &rules.dwell_max, problems);
  Duration<hours>(object, "dwell_max_emergency_h", place, &rules.dwell_max_emergency, problems);
  if (rules.dwell_max && rules.dwell_max_emergency &&
      *rules.dwell_max_emergency > *rules.dwell_max) {
    problems->Add(place + "/dwell_max_emergency_h", "longer than dwell_max_h");
  }
  ReadRounds(object, place, &rules.check_rounds, problems);
  if (const auto dressings = object.Find("dressing_max_h")) {
    for (const Value limit : *dressings) {
      const std::string_view type = limit.name();
      minutes* target = &rules.dressing_max[std::string(type == "default" ? "" : type)];
      Duration<hours>(*dressings, type, place + "/dressing_max_h", target, problems);
    }
  }
  rules.remove_at_phlebitis_grade = Integer(object, "remove_at_phlebitis_grade", place, problems);
  rules.remove_at_infiltration_grade =
      Integer(object, "remove_at_infiltration_grade", place, problems);
  Truth(object, "remove_on_swelling_at_flush", &rules.remove_on_swelling_at_flush);
  Truth(object, "remove_when_not_needed", &rules.remove_when_not_needed);
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

void Lower(std::optional<int>* strictest, const std::optional<int>& grade) {
  if (grade && (!*strictest || *grade < **strictest)) *strictest = grade;
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
  }
  return strictest;
}

}  // namespace

const LineRules* Policy::Find(std::string_view ward, std::string_view kind) const {
  if (!by_ward.empty()) {
    if (const auto at_ward = by_ward.find(ward); at_ward != by_ward.end()) {
      const auto rules = at_ward->second.find(kind);
      if (rules != at_ward->second.end()) return &rules->second;
    }
  }
  const auto rules = by_kind.find(kind);
  return rules == by_kind.end() ? nullptr : &rules->second;
}

Result<Policy> ReadPolicy(Value document) {
  Policy policy;
  Problems problems;
  Text(document, "name", &policy.name);
  Text(document, "version", &policy.version);
  Duration<minutes>(document, "due_soon_min", "", &policy.due_soon, &problems);
  Duration<minutes>(document, "grace_min", "", &policy.grace, &problems);
  Duration<hours>(document, "watch_h", "", &policy.watch, &problems);
  if (const auto kinds = document.Find("kinds")) {
    policy.by_kind = ReadKinds(*kinds, "/kinds", &problems);
  }
  if (const auto wards = document.Find("wards")) {
    for (const Value ward : *wards) {
      const std::string name(ward.name());
      policy.by_ward.insert_or_assign(name, ReadKinds(ward, "/wards/" + name, &problems));
    }
  }
  policy.unknown_kind = Strictest(policy.by_kind);
  if (!problems.text().empty()) return Error(ErrorKind::kConfig, problems.text());
  return policy;
}

}  // namespace dwell::due
