#include "tests/endpoint/record.h"

#include <algorithm>
#include <tuple>

namespace practice {
namespace {

std::string ValueOf(const std::string& identifier) {
  return identifier.substr(identifier.rfind('|') + 1);
}

}  // namespace

const Held* Record::Find(const std::string& key) const {
  const auto found = held_.find(key);
  return found == held_.end() ? nullptr : &found->second;
}

std::vector<std::string> Record::Search(const std::string& type,
                                        const std::string& identifier) const {
  std::vector<std::string> ids;
  const auto found = by_identifier_.find(type + "|" + ValueOf(identifier));
  if (found == by_identifier_.end()) return ids;
  for (const std::string& id : found->second) {
    const Held* const held = Find(type + "/" + id);
    if (held == nullptr || held->deleted) continue;
    const bool fits = std::any_of(
        held->identifiers.begin(), held->identifiers.end(), [&](const std::string& own) {
          const bool any_system = identifier.find('|') == std::string::npos;
          return any_system ? ValueOf(own) == identifier : own == identifier;
        });
    if (fits) ids.push_back(id);
  }
  return ids;
}

const Held& Record::Apply(Write write) {
  Held& held = held_[write.type + "/" + write.id];
  if (held.version == 0) {
    held.type = write.type;
    held.id = write.id;
  }
  if (keep_ == Keep::kHistory && held.version > 0) held.older.push_back(std::move(held.json));
  if (!write.is_delete && (held.version == 0 || held.deleted)) ++held.created;
  ++held.version;
  held.deleted = write.is_delete;
  held.modified = std::move(write.modified);
  held.json = keep_ == Keep::kNothing ? std::string() : std::move(write.json);
  for (const std::string& identifier : write.identifiers) {
    std::vector<std::string>& ids = by_identifier_[write.type + "|" + ValueOf(identifier)];
    if (std::find(ids.begin(), ids.end(), write.id) == ids.end()) ids.push_back(write.id);
  }
  held.identifiers = std::move(write.identifiers);
  return held;
}

bool Record::Forget(const std::string& key) { return held_.erase(key) != 0; }

bool Record::Alter(const std::string& key, const std::string& from, const std::string& to) {
  const auto found = held_.find(key);
  if (found == held_.end()) return false;
  const std::size_t at = found->second.json.find(from);
  if (at == std::string::npos) return false;
  found->second.json.replace(at, from.size(), to);
  return true;
}

std::vector<const Held*> Record::InAnyOrder() const {
  std::vector<const Held*> all;
  all.reserve(held_.size());
  for (const auto& [key, held] : held_) all.push_back(&held);
  return all;
}

std::vector<const Held*> Record::All() const {
  std::vector<const Held*> all = InAnyOrder();
  std::sort(all.begin(), all.end(), [](const Held* a, const Held* b) {
    return std::tie(a->type, a->id) < std::tie(b->type, b->id);
  });
  return all;
}

}  // namespace practice
