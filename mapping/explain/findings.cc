#include "mapping/explain/findings.h"

#include <algorithm>

namespace dwell::explain {
namespace {

using Portraits = std::vector<Portrait>;
using Values = std::vector<ElementValue>;

const Portrait* TwinOf(const Portrait& portrait, const Portraits& all) {
  const auto found =
      std::ranges::find_if(all, [&](const Portrait& each) { return each.IsSame(portrait); });
  return found != all.end() ? &*found : nullptr;
}

bool IsOfSame(const Row& a, const Row& b) { return a.type == b.type && a.role == b.role; }

std::string ParentOf(const std::string& path) {
  const std::size_t dot = path.rfind('.');
  return dot == std::string::npos ? std::string() : path.substr(0, dot);
}

/// What all resources of the row have in its element.
Values ValuesAt(const Row& row, const Portraits& portraits) {
  Values values;
  for (const Portrait& portrait : portraits) {
    if (portrait.type != row.type || portrait.role != row.role) continue;
    const Element* element = portrait.Find(row.element);
    if (element == nullptr) continue;
    values.insert(values.end(), element->values.begin(), element->values.end());
  }
  return values;
}

/// Whether all of them are somewhere in the resources.
bool StandElsewhere(const Values& values, const Portraits& portraits) {
  Values missing = values;
  for (const Portrait& portrait : portraits) {
    for (const Element& element : portrait.elements) {
      std::erase_if(missing, [&](const ElementValue& value) {
        return std::ranges::count(element.values, value) > 0;
      });
    }
  }
  return missing.empty();
}

/// Takes away from `values` what `others` hold, each as often as it stands there.
Values Minus(Values values, const Values& others) {
  for (const ElementValue& other : others) {
    const auto found = std::ranges::find(values, other);
    if (found != values.end()) values.erase(found);
  }
  return values;
}

/// What is there in every variant.
Values Constant(const std::vector<Values>& all) {
  Values constant = all.front();
  for (const Values& other : all) constant = Minus(constant, Minus(constant, other));
  return constant;
}

/// `values` but for what is constant.
Becomes BecomesOf(const std::string& value, const Values& values, const Values& constant) {
  Becomes becomes{value, {}, {}};
  for (const ElementValue& each : Minus(values, constant)) {
    if (becomes.words.empty() && !value.empty()) becomes.words = each.words;
    for (const codes::Coding& coding : each.codings) {
      if (std::ranges::count(becomes.codings, coding) == 0) becomes.codings.push_back(coding);
    }
  }
  return becomes;
}

/// Of what is coded whatever the value is, `others` with another value have the same; a code that
/// they do not have is the value itself.
void Generalize(Becomes& becomes, const Values& others) {
  for (codes::Coding& coding : becomes.codings) {
    const bool same = std::ranges::any_of(others, [&](const ElementValue& other) {
      return std::ranges::count(other.codings, coding) > 0;
    });
    if (!same) coding = {coding.system, "", ""};
  }
}

const Element kNarrative{"text", {}, {}};

}  // namespace

void Findings::Compare(const Portraits& base, const Portraits& altered) {
  for (const Portrait& portrait : base) {
    const Portrait* twin = TwinOf(portrait, altered);
    if (twin == nullptr) {
      Add(portrait, nullptr, false);
    } else {
      CompareOne(portrait, *twin);
    }
  }
  for (const Portrait& portrait : altered) {
    if (TwinOf(portrait, base) == nullptr) Add(portrait, nullptr, false);
  }
}

void Findings::CompareOne(const Portrait& base, const Portrait& altered) {
  const bool narrative = base.narrative != altered.narrative;
  bool any = false;
  const auto add = [&](const Element& element) {
    any = true;
    Add(base, &element, narrative);
  };
  for (const Element& element : base.elements) {
    const Element* twin = altered.Find(element.path);
    if (twin == nullptr || twin->values != element.values) add(element);
  }
  for (const Element& element : altered.elements) {
    if (base.Find(element.path) == nullptr) add(element);
  }
  if (narrative && !any) Add(base, &kNarrative, true);
}

void Findings::CompareWithout(const Portraits& base, const Portraits& without) {
  for (const Portrait& portrait : base) {
    if (TwinOf(portrait, without) == nullptr) {
      Add(portrait, nullptr, false);
    } else {
      CompareOneWithout(portrait, without);
    }
  }
  for (const Portrait& portrait : without) {
    if (TwinOf(portrait, base) == nullptr) Add(portrait, nullptr, false);
  }
}

void Findings::CompareOneWithout(const Portrait& base, const Portraits& without) {
  const Portrait& twin = *TwinOf(base, without);
  const bool narrative = base.narrative != twin.narrative;
  bool any = false;
  for (const Element& element : base.elements) {
    const Element* same = twin.Find(element.path);
    if (same != nullptr && same->values == element.values) continue;
    any = true;
    const bool companion =
        same == nullptr && HasNeighbour(base, element) && StandElsewhere(element.values, without);
    if (!companion) Add(base, &element, narrative);
  }
  for (const Element& element : twin.elements) {
    if (base.Find(element.path) != nullptr) continue;
    any = true;
    AddTo(only_without_, base, &element, narrative);
  }
  if (narrative && !any) Add(base, &kNarrative, true);
}

bool Findings::HasNeighbour(const Portrait& portrait, const Element& element) const {
  const std::string parent = ParentOf(element.path);
  return !parent.empty() && std::ranges::any_of(rows_, [&](const Row& row) {
    return row.type == portrait.type && row.role == portrait.role && row.element != element.path &&
           ParentOf(row.element) == parent;
  });
}

void Findings::Add(const Portrait& portrait, const Element* element, bool narrative) {
  AddTo(rows_, portrait, element, narrative);
}

void Findings::AddTo(std::vector<Row>& rows, const Portrait& portrait, const Element* element,
                     bool narrative) {
  Row row{.field = field_, .type = portrait.type, .role = portrait.role, .narrative = narrative};
  if (element != nullptr) {
    row.element = element->path;
    row.about = element->about;
  }
  const auto same = std::ranges::find_if(
      rows, [&](const Row& each) { return IsOfSame(each, row) && each.element == row.element; });
  if (same == rows.end()) return rows.push_back(std::move(row));
  same->narrative = same->narrative || narrative;
}

void Findings::Translate(const std::vector<Variant>& variants) {
  if (variants.empty()) return;  // an example without the field
  for (Row& row : rows_) {
    if (row.element.empty()) continue;
    std::vector<Values> all;
    for (const Variant& variant : variants) all.push_back(ValuesAt(row, variant.portraits));
    const Values constant = Constant(all);
    for (std::size_t i = 0; i < variants.size(); ++i) {
      const bool known = std::ranges::count(row.values, variants[i].value, &Becomes::value) > 0;
      if (!variants[i].told || known) continue;
      Becomes becomes = BecomesOf(variants[i].value, all[i], constant);
      if (variants[i].value.empty() && i + 1 < all.size()) Generalize(becomes, all[i + 1]);
      if (!becomes.codings.empty() || !becomes.words.empty()) {
        row.values.push_back(std::move(becomes));
      }
    }
  }
}

std::vector<Row> Findings::Take(const std::vector<std::string>& values) {
  if (rows_.empty()) rows_ = std::move(only_without_);
  if (rows_.empty()) rows_.push_back({.field = field_});
  const std::vector<Row> found = rows_;
  std::ranges::stable_sort(rows_, {}, [&](const Row& row) {
    return std::ranges::find_if(found, [&](const Row& each) { return IsOfSame(each, row); });
  });
  for (Row& row : rows_) {
    std::ranges::stable_sort(row.values, {}, [&](const Becomes& becomes) {
      return std::ranges::find(values, becomes.value);
    });
  }
  return std::move(rows_);
}

}  // namespace dwell::explain
