#include "mapping/explain/examples.h"

#include <span>
#include <utility>

#include "mapping/explain/alter.h"
#include "schemas/base/check.h"

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

}  // namespace

std::vector<Example> ExamplesOf(std::string_view kind) {
  const schemas::Document file = Load(std::string(kind) + ".json");
  std::vector<Example> examples;
  for (const schemas::Value json : file.root()) {
    Example example;
    example.about = json.Find("about")->AsString();
    example.event = JsonText(*json.Find("event"));
    if (const auto before = json.Find("before")) {
      for (const schemas::Value event : *before) example.before.push_back(JsonText(event));
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
