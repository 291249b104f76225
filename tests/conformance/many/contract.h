// The event contract as data: the bundled schemas of the six kinds, with their references followed.
// What must be generated and what must be covered is read from here, so that a new member of the
// contract is generated at once, or is missed by the coverage.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "schemas/json/document.h"

namespace dwell::many {

/// A schema at the end of its references.
struct Node {
  schemas::Value schema;
  std::string_view file;        ///< where references inside it start
  std::string_view definition;  ///< name of the definition it was reached through; or empty

  std::optional<schemas::Value> Find(std::string_view keyword) const {
    return schema.Find(keyword);
  }
  /// The text of a number or string keyword; empty without it.
  std::string_view Text(std::string_view keyword) const;
  bool Is(std::string_view type) const { return Text("type") == type; }
  bool Requires(std::string_view member) const;
};

class Contract {
 public:
  Contract();

  /// The kinds in the order of event::Kind.
  static const std::vector<std::string>& Kinds();
  Node Root(std::string_view kind) const;
  /// Follows `schema` of `file` to what it says.
  Node Resolve(schemas::Value schema, std::string_view file,
               std::string_view definition = {}) const;
  /// The schema of a member of an object, or of the items of an array.
  Node Member(const Node& object, schemas::Value property) const {
    return Resolve(property, object.file);
  }
  Node Items(const Node& array) const { return Resolve(*array.Find("items"), array.file); }

 private:
  std::map<std::string, schemas::Document, std::less<>> documents_;  ///< by file name
};

}  // namespace dwell::many
