#include "mapping/codes/vocabulary.h"

#include <algorithm>

#include "schemas/formats.h"

namespace dwell::codes {
namespace {

/// The pattern of a code in the event contract: what does not match it is never sent.
constexpr std::string_view kCodePattern = "^[a-z0-9]+([.-][a-z0-9]+)*$";

bool MayBeSent(const std::string& code) {
  return schemas::FindPattern(kCodePattern)->matches(code);
}

}  // namespace

Vocabulary::Vocabulary(std::vector<OwnConcept> ours)
    : concepts_(std::move(ours)), ours_(concepts_.size()) {
  for (std::size_t i = 0; i < concepts_.size(); ++i) by_code_.emplace(concepts_[i].code, i);
}

const OwnConcept* Vocabulary::Find(const std::string& code) const {
  const auto found = by_code_.find(code);
  return found != by_code_.end() ? &concepts_[found->second] : nullptr;
}

bool Vocabulary::InGroup(const std::string& code, std::string_view group) const {
  const OwnConcept* own = Find(code);
  return own != nullptr && std::ranges::count(own->groups, group) > 0;
}

Result<void> Vocabulary::CheckQualifier(const File& file, const Target& target) const {
  if (target.qualifier.empty()) return {};
  const bool applies = std::ranges::any_of(kQualifiers, [&](const auto& row) {
    return row.second == target.qualifier_group && InGroup(target.source, row.first);
  });
  if (!applies) {
    return At(file, target.place,
              "a dependsOn of a body site by side, or of a procedure by line-kind");
  }
  if (!InGroup(target.qualifier, target.qualifier_group)) {
    return At(file, target.place, "a dependsOn with a known value of " + target.qualifier_group);
  }
  return {};
}

Result<void> Vocabulary::Check(const File& file, const std::vector<Target>& targets) const {
  for (const Target& target : targets) {
    if (Find(target.source) == nullptr) {
      return At(file, target.place, "a code of ours; \"" + target.source + "\" is none");
    }
    if (auto checked = CheckQualifier(file, target); !checked) return checked;
  }
  return {};
}

Result<void> Vocabulary::CheckSite(const File& file, const std::vector<Target>& targets) {
  for (const Target& target : targets) {
    const OwnConcept* known = Find(target.source);
    if (known == nullptr && !MayBeSent(target.source)) {
      return At(file, target.place, "a code as events send it: lower case words joined by '-'");
    }
    if (known == nullptr && target.source_display.empty()) {
      return At(file, target.place,
                "a display, because \"" + target.source + "\" is no code of ours");
    }
    const bool own = known != nullptr && by_code_.at(target.source) < ours_;
    if (!own && known != nullptr && !target.source_display.empty() &&
        known->display != target.source_display) {
      return At(file, target.place, "the same display for \"" + target.source + "\" as before");
    }
    if (own) continue;
    Add(target.source, target.source_display, kAnyGroup);
    Add(target.source, target.source_display, "site");
  }
  for (const Target& target : targets) {
    const bool kind_of_line = target.qualifier_group == "line-kind" && MayBeSent(target.qualifier);
    const bool own = by_code_.contains(target.qualifier) && by_code_.at(target.qualifier) < ours_;
    if (kind_of_line && !own) Add(target.qualifier, Words(target.qualifier), "line-kind");
    if (auto checked = CheckQualifier(file, target); !checked) return checked;
  }
  return {};
}

void Vocabulary::Add(const std::string& code, const std::string& display, std::string_view group) {
  const auto [at, added] = by_code_.emplace(code, concepts_.size());
  if (added) concepts_.push_back({code, display, {}});
  auto& groups = concepts_[at->second].groups;
  if (std::ranges::count(groups, group) == 0) groups.emplace_back(group);
}

std::string Words(std::string_view code) {
  std::string words(code);
  std::ranges::replace(words, '-', ' ');
  return words;
}

}  // namespace dwell::codes
