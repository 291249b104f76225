#include "mapping/fhir/meta.h"

#include <algorithm>
#include <array>

#include "mapping/fhir/elements.h"

namespace dwell::fhir {
namespace {

#define DWELL_PROFILE(name) "https://dwelld.example/fhir/StructureDefinition/" name "|1.0.0"

struct Profile {
  std::string_view type;
  std::string_view canonical;
};

constexpr std::array kProfiles = {
    Profile{"Device", DWELL_PROFILE("line-device")},
    Profile{"DeviceAssociation", DWELL_PROFILE("line-association")},
    Profile{"DeviceUsage", DWELL_PROFILE("line-use")},
    Profile{"DeviceUseStatement", DWELL_PROFILE("line-use")},
    Profile{"Observation", DWELL_PROFILE("line-observation")},
    Profile{"Procedure", DWELL_PROFILE("line-procedure")},
    Profile{"Provenance", DWELL_PROFILE("line-provenance")},
    Profile{"Task", DWELL_PROFILE("line-task")},
};

#undef DWELL_PROFILE

void WriteLabel(schemas::JsonWriter& json, const SecurityLabel& label) {
  json.BeginObject();
  json.Member("system", label.system);
  json.Member("code", label.code);
  if (!label.display.empty()) json.Member("display", label.display);
  json.EndObject();
}

}  // namespace

std::optional<SecurityLabel> ReadSecurityLabel(std::string_view text) {
  const std::size_t first = text.find('|');
  if (first == std::string_view::npos) return std::nullopt;
  const std::size_t second = text.find('|', first + 1);
  SecurityLabel label;
  label.system = text.substr(0, first);
  label.code = text.substr(first + 1, second - first - 1);
  if (second != std::string_view::npos) label.display = text.substr(second + 1);
  const auto is_blank = [](char c) { return static_cast<unsigned char>(c) <= ' '; };
  const bool has_blank =
      std::ranges::any_of(label.system, is_blank) || std::ranges::any_of(label.code, is_blank);
  const bool has_scheme = label.system.find(':') != std::string::npos;
  if (has_blank || !has_scheme || label.code.empty()) return std::nullopt;
  if (label.display.find('|') != std::string::npos) return std::nullopt;
  return label;
}

std::string SecurityJson(bool test_data, const std::vector<SecurityLabel>& labels) {
  if (!test_data && labels.empty()) return {};
  schemas::JsonWriter json;
  json.BeginArray();
  if (test_data) {
    WriteLabel(json, {std::string(kTerminology) + "v3-ActReason", "HTEST", "test health data"});
  }
  for (const SecurityLabel& label : labels) WriteLabel(json, label);
  json.EndArray();
  return json.Take();
}

std::string_view ProfileOf(std::string_view type) {
  const auto* const found = std::ranges::find(kProfiles, type, &Profile::type);
  return found == kProfiles.end() ? std::string_view() : found->canonical;
}

void WriteMeta(schemas::JsonWriter& json, std::string_view source, std::string_view profile,
               std::string_view security_json) {
  json.BeginObject();
  json.Member("source", source);
  if (!profile.empty()) {
    json.Name("profile");
    json.BeginArray();
    json.String(profile);
    json.EndArray();
  }
  if (!security_json.empty()) json.MemberRaw("security", security_json);
  json.EndObject();
}

}  // namespace dwell::fhir
