#include "mapping/explain/examples.h"

#include <span>
#include <utility>

#include "mapping/explain/alter.h"
#include "schemas/base/check.h"
#include "schemas/json/writer.h"

namespace dwell::explain {

// The files of examples/ as the build embeds them.
std::span<const std::pair<std::string_view, std::string_view>> ExampleFiles();

namespace {

schemas::Document Load(const std::string& name) {
  for (const auto& [file, text] : ExampleFiles()) {
    if (file != name) continue;
    auto document = schemas::Document::Parse(text);
    CHECK(document.has_value());
    return std::move(*document);
  }
  CHECK(false && "a kind of event without examples");
  std::abort();
}

/// common.json: what most events have alike, and events that came before.
class Common {
 public:
  /// The event with the usual members that it does not have.
  std::string Whole(schemas::Value event) const {
    schemas::JsonWriter json;
    json.BeginObject();
    for (const schemas::Value member : *file_.At("/usual")) {
      if (!event.Find(member.name())) json.MemberRaw(member.name(), JsonText(member));
    }
    for (const schemas::Value member : event) json.MemberRaw(member.name(), JsonText(member));
    json.EndObject();
    return json.Take();
  }

  std::string Event(std::string_view id) const {
    const auto event = file_.At("/events")->Find(id);
    CHECK(event.has_value());
    return Whole(*event);
  }

 private:
  schemas::Document file_ = Load("common.json");
};

}  // namespace

std::vector<Example> ExamplesOf(std::string_view kind) {
  const Common common;
  const schemas::Document file = Load(std::string(kind) + ".json");
  std::vector<Example> examples;
  for (const schemas::Value json : file.root()) {
    Example example;
    example.about = json.Find("about")->AsString();
    example.event = common.Whole(*json.Find("event"));
    if (const auto before = json.Find("before")) {
      for (const schemas::Value id : *before) {
        example.before.push_back(common.Event(id.AsString()));
      }
    }
    examples.push_back(std::move(example));
  }
  return examples;
}

due::Policy ExamplePolicy() {
  const schemas::Document file = Load("policy.json");
  auto policy = due::ReadPolicy(file.root());
  CHECK(policy.has_value());
  return std::move(*policy);
}

}  // namespace dwell::explain
