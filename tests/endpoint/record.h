// What the practice endpoint holds: resources with their versions, found by id and by identifier.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

namespace practice {

struct Held {
  std::string type, id;
  std::uint64_t version = 0;  ///< counts every write, deletions too
  std::uint32_t created = 0;  ///< how often it came into being
  bool deleted = false;
  std::string modified;                  ///< FHIR instant of the current version
  std::string json;                      ///< current version; empty when bodies are not kept
  std::vector<std::string> older;        ///< versions 1 ..., when history is kept
  std::vector<std::string> identifiers;  ///< "system|value"
};

/// A write that can no longer fail.
struct Write {
  std::string type, id;
  bool is_delete = false;
  std::string modified, json;
  std::vector<std::string> identifiers;
};

/// What is kept of resources.
enum class Keep { kHistory, kCurrent, kNothing };

class Record {
 public:
  explicit Record(Keep keep) : keep_(keep) {}

  /// Null when it was never there. `key` is "Type/id".
  const Held* Find(const std::string& key) const;
  /// Ids of resources not deleted that carry the identifier: "system|value", or "value" in any
  /// system.
  std::vector<std::string> Search(const std::string& type, const std::string& identifier) const;
  /// Returns the resource after the write.
  const Held& Apply(Write write);

  /// Loses a resource with its history, as a restored backup does. False when it was not there.
  bool Forget(const std::string& key);
  /// Changes the text of the current version behind everybody's back: `from` becomes `to`. False
  /// when it is not there.
  bool Alter(const std::string& key, const std::string& from, const std::string& to);

  /// All, sorted by type and id.
  std::vector<const Held*> All() const;
  /// The same, unsorted: of millions that takes a while less.
  std::vector<const Held*> InAnyOrder() const;

 private:
  Keep keep_;
  std::unordered_map<std::string, Held> held_;
  std::unordered_map<std::string, std::vector<std::string>> by_identifier_;  // "Type|system|value"
};

}  // namespace practice
