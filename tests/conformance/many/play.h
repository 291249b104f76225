// Plays lives the way the ledger does: contract, line, dues, resources, their check.
#pragma once

#include <cstdint>
#include <functional>
#include <map>
#include <memory>
#include <string>
#include <vector>

#include "mapping/fhir/bundle.h"
#include "schemas/bundled.h"
#include "tests/conformance/many/ward.h"

namespace dwell::many {

/// One bundle that was made. Valid during the call only.
struct Step {
  const event::Event* event;  ///< that came in; null for the clock
  std::string_view event_json;
  const std::vector<fhir::Resource>& resources;
};

/// What must not be there at the end: our own faults.
struct Faults {
  std::vector<std::string> lines;  ///< one each, in words
};

class Player {
 public:
  Player(FhirRelease release, Wards* wards);

  /// Plays the life and tells every step, also one that made nothing.
  void Play(const Life& life, const std::function<void(const Step&)>& tell);

  const Faults& faults() const { return faults_; }
  /// Events refused because they contradict the line's life, by rule.
  const std::map<std::string, std::size_t>& refused() const { return refused_; }

 private:
  struct Line;
  std::shared_ptr<const event::Event> Read(const std::string& json);
  /// Whether the event was taken.
  bool Receive(Line* line, const Sent& sent, const std::function<void(const Step&)>& tell);
  void Make(Line* line, const line::Line& derived, const event::Event* event, std::string_view json,
            const std::function<void(const Step&)>& tell);
  void Tick(Line* line, const std::function<void(const Step&)>& tell);
  void Check(const std::vector<fhir::Resource>& resources);

  FhirRelease release_;
  Wards& wards_;
  schemas::Bundled schemas_;
  Faults faults_;
  std::map<std::string, std::size_t> refused_;
};

}  // namespace dwell::many
