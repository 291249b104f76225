// schema_verdicts: what our bundled schemas say of each resource.
//   schema_verdicts [--release 4.0.1|4.3.0|5.0.0] [--structure fhir|profiles] < NDJSON
// Without options: R4, the bare definitions of FHIR. Writes for each line one line: a JSON array of
// violations, each [JSON Pointer, rule, expected]. An empty array: accepted. Exit 64 when the
// arguments are wrong.
#include <iostream>
#include <optional>
#include <string>
#include <string_view>

#include "schemas/bundled.h"
#include "schemas/json/writer.h"

namespace {

using dwell::FhirRelease;
using dwell::schemas::Bundled;
using dwell::schemas::Structure;
using dwell::schemas::Violation;

struct Options {
  FhirRelease release = FhirRelease::kR4;
  Structure structure = Structure::kFhir;
};

std::optional<Options> Read(int count, char** words) {
  Options options;
  for (int i = 1; i < count; i += 2) {
    const std::string_view word = words[i];
    const std::string_view value = i + 1 < count ? words[i + 1] : "";
    const auto release = dwell::FhirReleaseOf(value);
    if (word == "--release" && release) {
      options.release = *release;
    } else if (word == "--structure" && (value == "fhir" || value == "profiles")) {
      options.structure = value == "fhir" ? Structure::kFhir : Structure::kProfiles;
    } else {
      return {};
    }
  }
  return options;
}

std::vector<Violation> Judge(const Bundled& schemas, std::string_view text) {
  const auto document = dwell::schemas::Document::Parse(text);
  if (!document) {
    const auto& problem = document.error();
    return {{problem.pointer, problem.rule, problem.expected}};
  }
  return schemas.CheckResource(document->root());
}

std::string Told(const std::vector<Violation>& violations) {
  dwell::schemas::JsonWriter json;
  json.BeginArray();
  for (const Violation& violation : violations) {
    json.BeginArray();
    json.String(violation.pointer);
    json.String(violation.rule);
    json.String(violation.expected);
    json.EndArray();
  }
  json.EndArray();
  return json.Take();
}

}  // namespace

int main(int count, char** words) {
  const auto options = Read(count, words);
  if (!options) return 64;
  const auto schemas = Bundled::Load(options->release, options->structure);
  if (!schemas) {
    std::cerr << schemas.error().message() << "\n";
    return 1;
  }
  for (std::string line; std::getline(std::cin, line);) {
    std::cout << Told(Judge(*schemas, line)) << "\n";
  }
  return 0;
}
