// The targets of several maps, one laid over the other. Internal to this room.
#pragma once

#include <map>
#include <string>
#include <utility>
#include <vector>

#include "mapping/codes/tables.h"

namespace dwell::codes {

class Layers {
 public:
  /// Lays one map over what is there. What it says of a code in a target system goes before all
  /// that was said of them; a target for one qualifier only before that for the same qualifier.
  void LayOver(std::vector<Target> map);

  /// The targets for `code`, best first: for each system that for the qualifier, else the
  /// unqualified one.
  std::vector<Target> Choose(const std::string& code, const std::string& qualifier) const;

 private:
  /// By code and qualifier.
  std::map<std::pair<std::string, std::string>, std::vector<Target>> targets_;
};

}  // namespace dwell::codes
