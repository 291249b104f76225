#include "tests/conformance/many/play.h"

#include <algorithm>

#include "mapping/due/due.h"
#include "mapping/line/line.h"
#include "schemas/base/check.h"

namespace dwell::many {
namespace {

schemas::Bundled LoadSchemas(FhirRelease release) {
  auto bundled = schemas::Bundled::Load(release);
  CHECK(bundled.has_value());
  return std::move(*bundled);
}

}  // namespace

struct Player::Line {
  fhir::Context context;
  const due::Policy* policy = nullptr;
  std::vector<std::shared_ptr<const event::Event>> events;
  std::vector<fhir::Issued> issued;
  std::uint64_t sequence = 0;
  Instant now{};
  std::optional<Instant> next_change;
};

Player::Player(FhirRelease release, Wards* wards)
    : release_(release), wards_(*wards), schemas_(LoadSchemas(release)) {}

void Player::Play(const Life& life, const std::function<void(const Step&)>& tell) {
  Line line;
  line.policy = &wards_.PolicyOf(life);
  line.context.site_namespace = "https://stmerrow.example/lines";
  line.context.test_data = life.test_data;
  line.context.codes = &wards_.CodesOf(life);
  line.context.zone = &wards_.ZoneOf(life);
  line.context.release = release_;
  if (life.conditional) {
    line.context.patients = fhir::ReferenceForm::kConditional;
    line.context.encounters = fhir::ReferenceForm::kConditional;
  }
  line.context.profiles = life.profiles;
  if (life.profiles) {
    line.context.security = {
        {"http://terminology.hl7.org/CodeSystem/v3-Confidentiality", "R", "restricted"}};
  }
  for (const Sent& sent : life.sent) {
    while (life.watched && line.next_change && *line.next_change <= sent.arrives) {
      Tick(&line, tell);
    }
    Receive(&line, sent, tell);
  }
  for (std::size_t i = 0; i < life.ticks_after && line.next_change; ++i) Tick(&line, tell);
}

std::shared_ptr<const event::Event> Player::Read(const std::string& json) {
  const auto document = schemas::Document::Parse(json);
  if (!document) {
    faults_.lines.push_back("no JSON: " + document.error().rule + " in " + json);
    return nullptr;
  }
  for (const auto& broken : schemas_.CheckEvent(document->root())) {
    faults_.lines.push_back("contract: " + broken.pointer + " " + broken.rule + " in " + json);
    return nullptr;
  }
  auto read = event::ReadEvent(document->root());
  if (!read) {
    const event::Problem& problem = read.error().front();
    faults_.lines.push_back("event: " + problem.pointer + " " + problem.rule + " in " + json);
    return nullptr;
  }
  return std::make_shared<const event::Event>(std::move(*read));
}

bool Player::Receive(Line* line, const Sent& sent, const std::function<void(const Step&)>& tell) {
  auto event = Read(sent.json);
  if (event == nullptr) return false;
  auto events = line->events;
  events.push_back(event);
  const line::Key key{event->source, event->line_id};
  auto derived = line::Derive(key, events, line->policy->check_after_removal_max());
  if (!derived) {
    ++refused_[derived.error().rule];
    return false;
  }
  line->now = std::max(line->now, sent.arrives);
  line->events = std::move(events);
  Make(line, *derived, event.get(), sent.json, tell);
  return true;
}

void Player::Tick(Line* line, const std::function<void(const Step&)>& tell) {
  line->now = *line->next_change;
  const line::Key key{line->events.front()->source, line->events.front()->line_id};
  const auto derived = line::Derive(key, line->events, line->policy->check_after_removal_max());
  CHECK(derived.has_value());
  Make(line, *derived, nullptr, {}, tell);
}

void Player::Make(Line* line, const line::Line& derived, const event::Event* event,
                  std::string_view json, const std::function<void(const Step&)>& tell) {
  const auto dues = due::Compute(derived, *line->policy, *line->context.zone, line->now);
  auto made = fhir::Make(derived, dues, line->context, line->issued,
                         {.event = event, .recorded = line->now, .sequence = line->sequence + 1});
  line->issued = std::move(made.issued);
  line->next_change = due::NextChange(dues);
  if (!made.resources.empty()) ++line->sequence;
  Check(made.resources);
  tell({event, json, made.resources});
}

void Player::Check(const std::vector<fhir::Resource>& resources) {
  for (const fhir::Resource& resource : resources) {
    const auto document = schemas::Document::Parse(resource.json);
    if (!document) {
      faults_.lines.push_back("our own " + resource.type + " is no JSON: " + resource.json);
      continue;
    }
    for (const auto& broken : schemas_.CheckResource(document->root())) {
      faults_.lines.push_back("our own " + resource.type + ": " + broken.pointer + " " +
                              broken.rule + ", expected " + broken.expected + " in " +
                              resource.json);
    }
  }
}

}  // namespace dwell::many
