#include "tests/conformance/many/ward.h"

#include <array>
#include <fstream>
#include <sstream>

#include "schemas/base/check.h"
#include "schemas/json/document.h"

namespace dwell::many {
namespace {

std::string ReadText(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  std::ostringstream text;
  text << in.rdbuf();
  CHECK(!in.fail());
  return text.str();
}

codes::CodeMap LoadCodes(codes::CodeMap::Edition edition) {
  auto map = codes::CodeMap::LoadBundled(edition);
  CHECK(map.has_value());
  return std::move(*map);
}

}  // namespace

Wards::Wards(const std::string& source_dir)
    : free_(LoadCodes(codes::CodeMap::Edition::kFree)),
      licensed_(LoadCodes(codes::CodeMap::Edition::kLicensed)) {
  constexpr std::array kFiles = {"/tests/golden/policy.json", "/tests/conformance/many/strict.json",
                                 "/tests/conformance/many/abrupt.json"};
  for (const char* file : kFiles) {
    const auto document = schemas::Document::Parse(ReadText(source_dir + file));
    CHECK(document.has_value());
    auto policy = due::ReadPolicy(document->root());
    CHECK(policy.has_value());
    policies_.push_back(std::move(*policy));
  }
}

const due::Zone& Wards::ZoneOf(const Life& life) {
  auto found = zones_.find(life.zone);
  if (found == zones_.end()) {
    auto zone = due::Zone::Load(life.zone);
    CHECK(zone.has_value());
    found = zones_.emplace(life.zone, std::move(*zone)).first;
  }
  return found->second;
}

}  // namespace dwell::many
