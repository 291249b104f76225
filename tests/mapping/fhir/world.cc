#include "tests/mapping/fhir/world.h"

#include <sstream>

#include "schemas/base/check.h"
#include "tests/support/temp_folder.h"

namespace dwell::test {
namespace {

constexpr std::chrono::hours kCheckAfterRemoval{72};

due::Policy LoadPolicy() {
  const std::string text = ReadBytes(DWELL_SOURCE_DIR "/tests/golden/policy.json");
  const auto document = schemas::Document::Parse(text);
  CHECK(document.has_value());
  auto policy = due::ReadPolicy(document->root());
  CHECK(policy.has_value());
  return std::move(*policy);
}

codes::CodeMap LoadCodes(codes::CodeMap::Edition edition) {
  auto map = codes::CodeMap::LoadBundled(edition);
  CHECK(map.has_value());
  return std::move(*map);
}

due::Zone LoadZone() {
  auto zone = due::Zone::Load("Europe/London");
  CHECK(zone.has_value());
  return std::move(*zone);
}

}  // namespace

const World& World::Get() {
  static const World world{LoadCodes(codes::CodeMap::Edition::kFree),
                           LoadCodes(codes::CodeMap::Edition::kLicensed), LoadPolicy(), LoadZone()};
  return world;
}

fhir::Context ContextOf(bool licensed, bool test_data) {
  fhir::Context context;
  context.site_namespace = "https://stmerrow.example/lines";
  context.test_data = test_data;
  context.codes = licensed ? &World::Get().licensed : &World::Get().free;
  context.zone = &World::Get().zone;
  return context;
}

std::vector<std::string> Lines(const std::string& text) {
  std::vector<std::string> lines;
  std::istringstream in(text);
  for (std::string line; std::getline(in, line);) {
    if (!line.empty()) lines.push_back(line);
  }
  return lines;
}

std::shared_ptr<const event::Event> ReadOne(std::string_view json) {
  const auto document = schemas::Document::Parse(json);
  CHECK(document.has_value());
  auto read = event::ReadEvent(document->root());
  CHECK(read.has_value());
  return std::make_shared<const event::Event>(std::move(*read));
}

std::shared_ptr<const event::Event> Told(std::string_view kind, std::string_view id,
                                         std::string_view at, std::string_view more) {
  const std::string recorded = FormatInstant(At(at) + std::chrono::minutes(2));
  std::string json = R"({"kind":")" + std::string(kind) + R"(","id":")" + std::string(id);
  json += R"(","source":"ward-7b","line_id":"L-1","happened_at":")" + std::string(at);
  json += R"(","recorded_at":")" + recorded;
  json += R"(","patient":{"system":"https://fhir.nhs.uk/Id/nhs-number","value":"9990000131"})";
  json +=
      R"(,"place":{"ward":"7B"},"staff":[{"system":"https://stmerrow.example/staff","value":"N-2041"}])";
  if (!more.empty()) json.append(",").append(more);
  return ReadOne(json + "}");
}

Instant At(std::string_view text) {
  const auto moment = ReadMoment(text);
  CHECK(moment.has_value());
  return moment->instant;
}

fhir::Made Life::Receive(std::shared_ptr<const event::Event> event,
                         std::optional<Instant> received) {
  events_.push_back(event);
  return Step(event.get(), received.value_or(event->recorded_at.instant));
}

fhir::Made Life::Wait(Instant now) { return Step(nullptr, now); }

fhir::Made Life::Step(const event::Event* event, Instant now) {
  const World& world = World::Get();
  now_ = std::max(now_, now);
  const line::Key key{events_.front()->source, events_.front()->line_id};
  const auto line = line::Derive(key, events_, kCheckAfterRemoval);
  CHECK(line.has_value());
  const auto dues = due::Compute(*line, world.policy, world.zone, now_);
  fhir::Made made = fhir::Make(*line, dues, context_, issued_, {event, now_, ++sequence_});
  issued_ = made.issued;
  return made;
}

fhir::Made Life::FromScratch() const {
  const World& world = World::Get();
  const line::Key key{events_.front()->source, events_.front()->line_id};
  const auto line = line::Derive(key, events_, kCheckAfterRemoval);
  CHECK(line.has_value());
  const auto dues = due::Compute(*line, world.policy, world.zone, now_);
  return fhir::Make(*line, dues, context_, {}, {events_.back().get(), now_, 1});
}

std::map<std::string, std::string> Statuses(const fhir::Made& made) {
  std::map<std::string, std::string> statuses;
  for (const auto& resource : made.resources) {
    const auto document = schemas::Document::Parse(resource.json);
    const auto status = document->At("/status");
    statuses[resource.type + "/" + resource.id] = status ? std::string(status->AsString()) : "";
  }
  return statuses;
}

}  // namespace dwell::test
