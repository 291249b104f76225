#include "daemon/reconcile/comparing.h"

#include <algorithm>
#include <optional>
#include <utility>

#include "daemon/reconcile/allowances.h"
#include "daemon/reconcile/references.h"
#include "mapping/event/moment.h"
#include "schemas/decimal.h"
#include "schemas/json/write_value.h"

namespace dwell::reconcile {
namespace {

using schemas::Kind;
using schemas::Value;

std::string TextOf(const std::optional<Value>& value) {
  if (!value) return {};
  if (value->is_string()) return std::string(value->AsString());
  schemas::JsonWriter json;
  schemas::WriteValue(json, *value);
  return json.Take();
}

/// R4 datatypes.html: an instant or dateTime with its offset is a point in time.
bool SameText(std::string_view sent, std::string_view held) {
  if (sent == held) return true;
  const auto left = ReadMoment(sent);
  const auto right = left ? ReadMoment(held) : std::nullopt;
  return left && right && left->instant == right->instant;
}

bool SameScalar(Value sent, Value held) {
  switch (sent.kind()) {
    case Kind::kNull:
      return true;
    case Kind::kBool:
      return sent.AsBool() == held.AsBool();
    case Kind::kNumber:
      return std::is_eq(schemas::CompareDecimals(sent.NumberText(), held.NumberText()));
    default:
      return SameText(sent.AsString(), held.AsString());
  }
}

/// Where a comparison is: in the text, and with "*" for indexes.
struct Spot {
  std::string pointer, place;

  Spot Member(std::string_view name) const {
    const std::string token = "/" + schemas::PointerToken(name);
    return {pointer + token, place + token};
  }
  Spot Element(std::size_t index) const {
    return {pointer + "/" + std::to_string(index), place + "/*"};
  }
};

class Comparing {
 public:
  Comparing(const Known& known, std::string_view base) : known_(known), base_(base) {}

  void Compare(const Spot& spot, std::optional<Value> sent, std::optional<Value> held) {
    if (MayDiffer(spot.place)) return;
    if (!sent) return Added(spot, *held);
    const bool same_kind = held && sent->kind() == held->kind();
    if (same_kind && sent->is_object()) {
      return IsReference(*sent) ? CompareReferences(spot, *sent, *held)
                                : CompareMembers(spot, *sent, *held);
    }
    if (same_kind && sent->is_array()) {
      return IsUnordered(spot.place) ? CompareSets(spot, *sent, *held)
                                     : CompareLists(spot, *sent, *held);
    }
    const bool is_same = same_kind ? SameScalar(*sent, *held) : !held && MayLose(spot, *sent);
    if (!is_same) Differs(spot, sent, held);
  }

  Compared Take() { return std::move(compared_); }

 private:
  void Differs(const Spot& spot, std::optional<Value> sent, std::optional<Value> held) {
    compared_.differences.push_back({spot.pointer, TextOf(sent), TextOf(held)});
  }

  void Added(const Spot& spot, Value held) {
    if (MayAdd(spot.place)) return;
    if (!held.is_object() || held.size() == 0) return Differs(spot, std::nullopt, held);
    // Whatever it is, it says no more than what stands in it.
    for (const Value child : held) Compare(spot.Member(child.name()), std::nullopt, child);
  }

  /// Whether all that stands in an object may differ anyhow.
  bool MayLose(const Spot& spot, Value sent) const {
    return sent.is_object() && sent.size() > 0 &&
           std::all_of(sent.begin(), sent.end(),
                       [&](Value child) { return MayDiffer(spot.Member(child.name()).place); });
  }

  void CompareMembers(const Spot& spot, Value sent, Value held) {
    for (const Value child : sent) {
      Compare(spot.Member(child.name()), child, held.Find(child.name()));
    }
    for (const Value child : held) {
      if (!sent.Find(child.name())) Compare(spot.Member(child.name()), std::nullopt, child);
    }
  }

  void CompareLists(const Spot& spot, Value sent, Value held) {
    std::optional<Value> left = sent.first();
    std::optional<Value> right = held.first();
    for (std::size_t i = 0; left || right; ++i) {
      Compare(spot.Element(i), left, right);
      if (left) left = left->next();
      if (right) right = right->next();
    }
  }

  bool AreSame(const Spot& spot, Value sent, Value held) const {
    Comparing apart(known_, base_);
    apart.Compare(spot, sent, held);
    return apart.compared_.differences.empty() && apart.compared_.asks.empty();
  }

  /// Pairs what is the same wherever it stands, then the rest in order.
  void CompareSets(const Spot& spot, Value sent, Value held) {
    std::vector<Value> rest(held.begin(), held.end());
    std::vector<std::pair<std::size_t, Value>> missing;
    std::size_t index = 0;
    for (const Value element : sent) {
      const Spot at = spot.Element(index);
      const auto found =
          std::ranges::find_if(rest, [&](Value other) { return AreSame(at, element, other); });
      if (found != rest.end()) {
        rest.erase(found);
      } else {
        missing.emplace_back(index, element);
      }
      ++index;
    }
    for (std::size_t i = 0; i < missing.size(); ++i) {
      const auto other = i < rest.size() ? std::optional(rest[i]) : std::nullopt;
      Compare(spot.Element(missing[i].first), missing[i].second, other);
    }
    for (std::size_t i = missing.size(); i < rest.size(); ++i) {
      Compare(spot.Element(sent.size() + i), std::nullopt, rest[i]);
    }
  }

  // --- References -------------------------------------------------------------------------------

  void Misnames(const Spot& spot, Value sent, Value held) {
    Differs(spot, sent, held);
    compared_.wrong_patient = compared_.wrong_patient || TypeOf(sent) == "Patient";
  }

  void CompareReferences(const Spot& spot, Value sent, Value held) {
    const std::string_view text = TextIn(sent, "reference");
    const bool is_literal = !text.empty() && text.find('?') == std::string_view::npos;
    if (is_literal) return CompareLiterals(spot, sent, held);
    const auto meant = sent.Find("identifier");
    const auto identifier = held.Find("identifier");
    if (!meant || (identifier && !NamesSame(*meant, *identifier))) {
      return Misnames(spot, sent, held);
    }
    const std::string_view now = TextIn(held, "reference");
    const bool is_unresolved = now == text || (now.find('?') != now.npos && now == SearchFor(sent));
    if (now.empty() || is_unresolved) {
      // A search should have become somebody's id; otherwise the identifier is all there is.
      const bool is_whole =
          text.empty() && now.empty() && identifier && (held.Find("type") || !sent.Find("type"));
      return is_whole ? CompareRest(spot, sent, held) : Differs(spot, sent, held);
    }
    const std::string search = SearchFor(sent);
    const std::string literal = LiteralOf(now, base_);
    const auto known = known_.find(search);
    if (known == known_.end()) {
      compared_.asks.push_back(search);
    } else if (known->second == kAmbiguous) {
      return CompareRest(spot, sent, held);
    } else if (known->second.empty()) {
      Differs(spot, sent, held);  // the endpoint itself does not find whom it names
    } else if (literal != known->second) {
      return Misnames(spot, sent, held);
    }
    CompareRest(spot, sent, held);
  }

  void CompareLiterals(const Spot& spot, Value sent, Value held) {
    const std::string literal = LiteralOf(TextIn(sent, "reference"), base_);
    if (literal.empty() || LiteralOf(TextIn(held, "reference"), base_) != literal) {
      return Misnames(spot, sent, held);
    }
    const auto identifier = sent.Find("identifier");
    if (identifier) Compare(spot.Member("identifier"), identifier, held.Find("identifier"));
    CompareRest(spot, sent, held);
  }

  /// What stands beside the naming: a type that the reference tells too may come and go, words for
  /// the eye may come.
  void CompareRest(const Spot& spot, Value sent, Value held) {
    const auto type = held.Find("type");
    if (type && TextIn(held, "type") != TypeOf(sent)) {
      Compare(spot.Member("type"), sent.Find("type"), type);
    }
    const auto display = sent.Find("display");
    if (display) Compare(spot.Member("display"), display, held.Find("display"));
    const auto extension = sent.Find("extension");
    if (extension) Compare(spot.Member("extension"), extension, held.Find("extension"));
    for (const Value child : held) {
      const bool is_known = child.name() == "reference" || child.name() == "type" ||
                            child.name() == "identifier" || child.name() == "display";
      if (!is_known && !sent.Find(child.name())) {
        Compare(spot.Member(child.name()), std::nullopt, child);
      }
    }
  }

  /// R4 datatypes.html#Identifier: system and value are the identifier, the rest is about it.
  static bool NamesSame(Value sent, Value held) {
    return TextIn(sent, "system") == TextIn(held, "system") &&
           TextIn(sent, "value") == TextIn(held, "value");
  }

  const Known& known_;
  std::string_view base_;
  Compared compared_;
};

}  // namespace

Compared Compare(Value sent, Value held, const Known& known, std::string_view base) {
  Comparing comparing(known, base);
  comparing.Compare({}, sent, held);
  return comparing.Take();
}

}  // namespace dwell::reconcile
