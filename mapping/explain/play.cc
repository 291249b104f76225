#include "mapping/explain/play.h"

#include <memory>

#include "mapping/fhir/unknown_codes.h"
#include "schemas/base/check.h"

namespace dwell::explain {
namespace {

using EventPtr = std::shared_ptr<const event::Event>;

/// Null when it is not legal.
EventPtr Read(const std::string& json, const schemas::Bundled& schemas) {
  const auto document = schemas::Document::Parse(json);
  if (!document || !schemas.CheckEvent(document->root()).empty()) return nullptr;
  auto event = event::ReadEvent(document->root());
  return event ? std::make_shared<const event::Event>(std::move(*event)) : nullptr;
}

Result<line::Line, line::Contradiction> Derive(const std::vector<EventPtr>& events,
                                               const due::Policy& policy) {
  const line::Key key{events.back()->source, events.back()->line_id};
  return line::Derive(key, events, policy.check_after_removal_max());
}

/// What stood in the record before, as nothing that can be left as it is.
std::vector<fhir::Issued> IssuedBefore(const std::vector<EventPtr>& events, const Running& running,
                                       Instant now) {
  if (events.empty()) return {};
  const auto line = Derive(events, running.policy);
  CHECK(line.has_value());
  const auto dues = due::Compute(*line, running.policy, *running.context.zone, now);
  auto issued = fhir::Make(*line, dues, running.context, {}, {events.back().get(), now, 1}).issued;
  for (fhir::Issued& one : issued) one.fingerprint = 0;
  return issued;
}

}  // namespace

std::optional<std::vector<Portrait>> Play(const Life& life, const Running& running, Instant now) {
  std::vector<EventPtr> events;
  for (const std::string& json : life.before) {
    events.push_back(Read(json, running.schemas));
    if (events.back() == nullptr) return std::nullopt;
  }
  if (!events.empty() && !Derive(events, running.policy)) return std::nullopt;
  const auto issued = IssuedBefore(events, running, now);
  const event::Event* cause = nullptr;
  if (!life.event.empty()) {
    events.push_back(Read(life.event, running.schemas));
    if (events.back() == nullptr) return std::nullopt;
    cause = events.back().get();
  }
  if (events.empty()) return std::vector<Portrait>();
  const auto line = Derive(events, running.policy);
  if (!line) return std::nullopt;
  const auto dues = due::Compute(*line, running.policy, *running.context.zone, now);
  auto made = fhir::Make(*line, dues, running.context, issued, {cause, now, 2});
  if (cause == nullptr) made.resources.pop_back();  // the Provenance of an event that did not come
  return PortraitsOf(made.resources, *running.context.codes);
}

std::string GroupOfUnknown(const std::string& event, std::string_view code,
                           const Running& running) {
  const EventPtr read = Read(event, running.schemas);
  if (read == nullptr) return {};
  for (const fhir::UnknownCode& unknown : fhir::UnknownCodes(*read, *running.context.codes)) {
    if (unknown.code == code) return std::string(unknown.group);
  }
  return {};
}

}  // namespace dwell::explain
