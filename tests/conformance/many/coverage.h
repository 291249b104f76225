// Counts what the events and resources contained, against the list of what they must contain.
#pragma once

#include <map>
#include <ostream>
#include <string>
#include <string_view>

#include "mapping/event/event.h"
#include "schemas/json/document.h"
#include "schemas/release.h"
#include "tests/conformance/many/contract.h"
#include "tests/conformance/many/play.h"
#include "tests/conformance/many/vocabulary.h"

namespace dwell::many {

class Coverage {
 public:
  /// Lists everything that must occur: from the contract, our CodeSystem, the roles of resources
  /// and the stages of what is due.
  Coverage(const Contract& contract, const Vocabulary& words, FhirRelease release);

  void Count(const Step& step);

  /// One line for each thing with its count. Returns how many are missing, or occur though they are
  /// listed as impossible.
  std::size_t Print(std::ostream& out) const;
  std::size_t size() const { return counts_.size(); }

 private:
  void RequireNode(const Node& node, const std::string& path);
  void Require(std::string key) { counts_.emplace(std::move(key), 0); }
  /// Counts only what was required: the rest is variety.
  void See(const std::string& key);

  void CountNode(const Node& node, schemas::Value value, std::string_view member,
                 const std::string& path);
  void CountObject(const Node& node, schemas::Value value, const std::string& path);
  void CountEvent(const event::Event& event, std::string_view json);
  void CountResource(const fhir::Resource& resource);
  void CountConcepts(schemas::Value value);

  const Contract& contract_;
  const Vocabulary& words_;
  std::map<std::string, std::size_t> counts_;
  std::map<std::string, std::vector<std::string>> keys_by_text_;  ///< display -> keys
};

}  // namespace dwell::many
