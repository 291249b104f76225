#include "mapping/explain/explain.h"

#include <algorithm>
#include <array>
#include <optional>

#include "mapping/explain/alter.h"
#include "mapping/explain/contract.h"
#include "mapping/explain/examples.h"
#include "mapping/explain/findings.h"
#include "mapping/explain/nowhere.h"
#include "mapping/explain/play.h"
#include "schemas/base/check.h"

namespace dwell::explain {
namespace {

/// What the events of a line have in common: altered in all of them, or it is another line.
constexpr std::array<std::string_view, 3> kShared = {"/source", "/patient", "/line_id"};

bool IsShared(std::string_view pointer) {
  return std::ranges::any_of(kShared,
                             [&](std::string_view shared) { return pointer.starts_with(shared); });
}

/// All values to try for an enumeration or a code: with the group's codes and the site's own.
std::vector<std::string> ValuesOf(const Field& field, std::string_view group,
                                  const codes::CodeMap& codes) {
  std::vector<std::string> values = field.words;
  if (group.empty()) return values;
  for (const codes::OwnCode& own : codes.OwnCodes()) {
    if (own.group == group) values.emplace_back(own.code);
  }
  for (const codes::OwnCode& own : codes.SiteCodes()) {
    if (own.group.empty() || own.group == group) values.emplace_back(own.code);
  }
  return values;
}

/// One example, played as it is and with fields altered.
class Trial {
 public:
  Trial(const Example& example, const Running& running)
      : running_(running), before_texts_(example.before), event_(Parsed(example.event)) {
    for (const std::string& json : example.before) before_.push_back(Parsed(json));
    const auto moment = ReadMoment(event_.At("/recorded_at")->AsString());
    CHECK(moment.has_value());
    now_ = moment->instant + std::chrono::minutes(10);
    auto base = Play({example.before, example.event}, running_, now_);
    CHECK(base.has_value());
    base_ = std::move(*base);
  }

  bool Has(const Field& field) const { return event_.At(field.pointer).has_value(); }

  /// The group of the codes of the field; empty when the example has none there.
  std::string GroupOf(const Field& field) const {
    if (!field.code || !event_.At(field.pointer)) return {};
    const std::string altered = Rewrite(event_.root(), field.pointer, Quoted(kUnknownCode));
    return GroupOfUnknown(altered, kUnknownCode, running_);
  }

  /// Where the field shows when its value is another one: of `values`, or any if there are none.
  /// Gives the makings for Findings::Translate().
  std::vector<Variant> Alter(const Field& field, const std::vector<std::string>& values,
                             Findings& findings) const {
    const auto old = event_.At(field.pointer);
    if (!old) return {};
    std::vector<Variant> variants = {{values.empty() ? "" : Text(*old), true, base_}};
    for (const std::string& value : values) {
      if (value == variants.front().value) continue;
      Vary(field, Quoted(value), {value, true, {}}, variants);
    }
    for (const std::string& json : OtherValues(field, *old)) {
      if (Vary(field, json, {"", false, {}}, variants)) break;  // one is as good as another
    }
    for (const Variant& variant : variants) findings.Compare(base_, variant.portraits);
    if (field.words.empty()) Vary(field, "", {"", false, {}}, variants);
    return variants;
  }

  /// Takes out of the makings what codes of other groups in the example come to: a reason that is
  /// given for whatever outcome is not what the outcome becomes, nor a place what the vein does.
  void SetAsideOthers(const Field& field, const std::vector<Field>& fields,
                      std::vector<Variant>& variants) const {
    const std::string own = GroupOf(field);
    for (const Field& other : fields) {
      const std::string group = GroupOf(other);
      if (group == own || group.empty()) continue;
      const auto what = running_.context.codes->Find(group, Text(*event_.At(other.pointer)));
      for (Variant& variant : variants) SetAside(what->codings, variant.portraits);
    }
  }

  /// Where the field shows when it is left out.
  void LeaveOut(const Field& field, Findings& findings) const {
    if (!event_.At(field.pointer)) return;
    const Life life = field.pointer == "/kind" ? Life{before_texts_, ""}  // no such event
                                               : Altered(field.pointer, "");
    const auto portraits = Play(life, running_, now_);
    if (portraits) findings.CompareWithout(base_, *portraits);
  }

 private:
  static schemas::Document Parsed(const std::string& json) {
    auto document = schemas::Document::Parse(json);
    CHECK(document.has_value());
    return std::move(*document);
  }

  static std::string Text(schemas::Value value) { return std::string(value.AsString()); }

  static void SetAside(const std::vector<codes::Coding>& codings,
                       std::vector<Portrait>& portraits) {
    for (Portrait& portrait : portraits) {
      for (Element& element : portrait.elements) {
        std::erase_if(element.values, [&](ElementValue& value) {
          const auto known = [&](const codes::Coding& coding) {
            return std::ranges::count(codings, coding) > 0;
          };
          return std::erase_if(value.codings, known) > 0 && value.codings.empty();
        });
      }
    }
  }

  /// False when the life is not legal: then it tells nothing.
  bool Vary(const Field& field, const std::string& json, Variant variant,
            std::vector<Variant>& variants) const {
    auto portraits = Play(Altered(field.pointer, json), running_, now_);
    if (!portraits) return false;
    variant.portraits = std::move(*portraits);
    variants.push_back(std::move(variant));
    return true;
  }

  Life Altered(const std::string& pointer, const std::string& json) const {
    Life life{before_texts_, Rewrite(event_.root(), pointer, json)};
    if (!IsShared(pointer)) return life;
    for (std::size_t i = 0; i < before_.size(); ++i) {
      life.before[i] = Rewrite(before_[i].root(), pointer, json);
    }
    return life;
  }

  const Running& running_;
  std::vector<std::string> before_texts_;
  std::vector<schemas::Document> before_;
  schemas::Document event_;
  Instant now_{};
  std::vector<Portrait> base_;
};

std::vector<Row> ExplainField(const Field& field, const std::vector<Field>& fields,
                              const std::vector<Trial>& trials, const codes::CodeMap& codes) {
  std::string group;
  for (const Trial& trial : trials) {
    if (group.empty()) group = trial.GroupOf(field);
  }
  const std::vector<std::string> values = ValuesOf(field, group, codes);
  Findings findings(field.pointer);
  std::vector<std::vector<Variant>> makings;
  for (const Trial& trial : trials) makings.push_back(trial.Alter(field, values, findings));
  for (const Trial& trial : trials) trial.LeaveOut(field, findings);
  for (std::size_t i = 0; i < trials.size(); ++i) {
    if (!values.empty()) trials[i].SetAsideOthers(field, fields, makings[i]);
    findings.Translate(makings[i]);
  }
  return findings.Take(values);
}

/// The same member of the second entry of a list, if an example has one.
std::optional<Field> OfSecondEntry(const Field& field, const std::vector<Trial>& trials) {
  const std::size_t first = field.pointer.find("/0");
  if (first == std::string::npos) return std::nullopt;
  Field second = field;
  second.pointer[first + 1] = '1';
  const bool any = std::ranges::any_of(trials, [&](const Trial& each) { return each.Has(second); });
  return any ? std::optional(second) : std::nullopt;
}

bool EndUpAlike(const std::vector<Row>& a, const std::vector<Row>& b) {
  return std::ranges::equal(a, b, [](const Row& one, const Row& other) {
    return one.type == other.type && one.role == other.role && one.element == other.element;
  });
}

}  // namespace

bool Becomes::IsOwnOnly() const {
  return !codings.empty() && std::ranges::all_of(codings, [](const codes::Coding& coding) {
    return coding.system == codes::kOurSystem;
  });
}

std::vector<std::string_view> Kinds() {
  std::vector<std::string_view> kinds;
  for (std::size_t i = 0; i < std::variant_size_v<event::Body>; ++i) {
    kinds.push_back(event::KindName(static_cast<event::Kind>(i)));
  }
  return kinds;
}

std::vector<Row> Explain(std::string_view kind, const schemas::Bundled& schemas,
                         const fhir::Context& context) {
  CHECK(context.codes != nullptr && context.zone != nullptr);
  const due::Policy policy = ExamplePolicy();
  const Running running{schemas, context, policy};
  std::vector<Trial> trials;
  for (const Example& example : ExamplesOf(kind)) trials.emplace_back(example, running);
  std::vector<Row> rows;
  const std::vector<Field> fields = FieldsOf(kind);
  const auto add = [&](std::vector<Row> found) {
    for (Row& row : found) {
      if (row.type.empty()) row.why = WhyNowhere(kind, row.field);
      rows.push_back(std::move(row));
    }
  };
  for (const Field& field : fields) {
    const std::vector<Row> found = ExplainField(field, fields, trials, *context.codes);
    add(found);
    const auto second = OfSecondEntry(field, trials);
    if (!second) continue;
    std::vector<Row> further = ExplainField(*second, fields, trials, *context.codes);
    if (!EndUpAlike(found, further)) add(std::move(further));
  }
  return rows;
}

}  // namespace dwell::explain
