// What is the same for many lines: policies, zones and code maps, loaded once.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "mapping/codes/codes.h"
#include "mapping/due/policy.h"
#include "tests/conformance/many/life.h"

namespace dwell::many {

class Wards {
 public:
  /// Reads the policies, which must be legal, from `source_dir`.
  explicit Wards(const std::string& source_dir);

  const due::Policy& PolicyOf(const Life& life) const {
    return policies_.at(life.policy % policies_.size());
  }
  const due::Zone& ZoneOf(const Life& life);
  const codes::CodeMap& CodesOf(const Life& life) const {
    return life.licensed ? licensed_ : free_;
  }

 private:
  std::vector<due::Policy> policies_;
  std::map<std::string, due::Zone> zones_;
  codes::CodeMap free_;
  codes::CodeMap licensed_;
};

}  // namespace dwell::many
