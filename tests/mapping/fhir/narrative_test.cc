// The narrative tells what the elements tell: over every resource of the golden pairs.
#include "mapping/fhir/narrative.h"

#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <sstream>

#include "schemas/json/document.h"

namespace dwell::fhir {
namespace {

namespace fs = std::filesystem;
using schemas::Document;
using schemas::Value;

std::vector<std::pair<std::string, Document>> GoldenBundles() {
  std::vector<std::pair<std::string, Document>> bundles;
  for (const auto& file : fs::recursive_directory_iterator(DWELL_SOURCE_DIR "/tests/golden")) {
    if (file.path().filename() != "out.json") continue;
    std::ostringstream text;
    text << std::ifstream(file.path()).rdbuf();
    auto document = Document::Parse(text.str());
    CHECK(document.has_value());
    bundles.emplace_back(file.path().parent_path().string(), std::move(*document));
  }
  return bundles;
}

/// Calls `visit(place, resource, narrative)` for each resource that a golden bundle puts.
void ForEachResource(const auto& visit) {
  for (const auto& [place, bundle] : GoldenBundles()) {
    const auto entries = bundle.root().Find("entry");
    if (!entries) continue;  // nothing changed
    for (const Value entry : *entries) {
      const auto resource = entry.Find("resource");
      const auto text = resource ? resource->Find("text") : std::nullopt;
      if (text) visit(place, *resource, text->Find("div")->AsString());
    }
  }
}

/// When it happened: performed[x], occurrence[x] of a Procedure, effective[x] of an Observation.
std::optional<std::string_view> StartOf(Value resource) {
  for (const std::string_view name : {"performed", "occurrence", "effective"}) {
    if (const auto at = resource.Find(std::string(name) + "DateTime")) return at->AsString();
    if (const auto period = resource.Find(std::string(name) + "Period"))
      return period->Find("start")->AsString();
  }
  return std::nullopt;
}

TEST(Narratives, TellTheTimeOfTheirResource) {
  int seen = 0;
  ForEachResource([&](const std::string& place, Value resource, std::string_view div) {
    const auto start = StartOf(resource);
    if (!start) return;
    ++seen;
    EXPECT_NE(div.find("<li>When: " + ReadableTime(*start)), std::string_view::npos)
        << place << " " << resource.Find("id")->AsString() << " is of " << *start << ": " << div;
  });
  EXPECT_GT(seen, 100);
}

TEST(Narratives, NameEveryFindingOfTheirObservation) {
  int seen = 0;
  ForEachResource([&](const std::string& place, Value resource, std::string_view div) {
    const auto components = resource.Find("component");
    if (!components) return;
    for (const Value component : *components) {
      ++seen;
      const auto name = component.Find("code")->Find("text")->AsString();
      EXPECT_NE(div.find("<li>" + Escape(name) + ": "), std::string_view::npos)
          << place << " says nothing of " << name << ": " << div;
    }
  });
  EXPECT_GT(seen, 100);
}

}  // namespace
}  // namespace dwell::fhir
