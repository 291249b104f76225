#include "daemon/config/config.h"

#include <unistd.h>

#include <algorithm>
#include <cctype>
#include <filesystem>

#include "daemon/config/keys.h"
#include "daemon/config/together.h"
#include "schemas/base/check.h"
#include "schemas/bundled.h"

namespace dwell::config {
namespace {

std::string VariableName(const Key& key) {
  std::string name = std::string("DWELLD_") + key.section + "_" + key.name;
  std::transform(name.begin(), name.end(), name.begin(),
                 [](unsigned char c) { return static_cast<char>(std::toupper(c)); });
  return name;
}

Override::Type TypeOf(const Key& key) {
  Config scratch;
  const Field field = key.field(scratch);
  if (std::holds_alternative<std::int64_t*>(field)) return Override::Type::kInteger;
  if (std::holds_alternative<Texts*>(field)) return Override::Type::kTexts;
  return std::holds_alternative<bool*>(field) ? Override::Type::kBool : Override::Type::kText;
}

std::vector<Override> Overrides(const Environment& environment, std::vector<Finding>& findings) {
  std::vector<Override> overrides;
  for (const auto& [name, value] : environment) {
    const auto key = std::ranges::find(AllKeys(), name, VariableName);
    if (key == AllKeys().end()) {
      findings.push_back({"environment", 0, "", name + " names no key of the configuration"});
      continue;
    }
    overrides.push_back({key->section, key->name, TypeOf(*key), value});
  }
  return overrides;
}

void Fill(const Key& key, schemas::Value value, const std::filesystem::path& folder,
          Config& config) {
  const Field field = key.field(config);
  if (const auto* const text = std::get_if<std::string*>(&field)) {
    **text = value.AsString();
    if (key.path == Key::Path::kYes) **text = (folder / **text).lexically_normal().string();
  } else if (const auto* const truth = std::get_if<bool*>(&field)) {
    **truth = value.AsBool();
  } else if (const auto* const texts = std::get_if<Texts*>(&field)) {
    for (const schemas::Value item : value) (*texts)->emplace_back(item.AsString());
  } else {
    **std::get_if<std::int64_t*>(&field) = std::stoll(std::string(value.NumberText()));
  }
}

/// [endpoints.NAME] has the keys of [endpoint].
void FillEndpoints(schemas::Value root, const std::filesystem::path& folder, Config& config) {
  const auto tables = root.Find("endpoints");
  if (!tables) return;
  for (const schemas::Value table : *tables) {
    Config scratch;
    for (const Key& key : AllKeys()) {
      const auto value =
          std::string_view(key.section) == "endpoint" ? table.Find(key.name) : std::nullopt;
      if (value) Fill(key, *value, folder, scratch);
    }
    scratch.endpoint.name = table.name();
    scratch.endpoint.fhir_version = config.endpoint.fhir_version;
    config.endpoints.push_back(std::move(scratch.endpoint));
  }
  std::ranges::sort(config.endpoints, {}, &Config::Endpoint::name);
}

const schemas::Schema& ConfigSchema() {
  static const schemas::Schema schema = [] {
    const auto text = schemas::BundledText("config.schema.json");
    CHECK(text.has_value());
    auto loaded = schemas::Schema::Load(*text);
    CHECK(loaded.has_value());
    return std::move(*loaded);
  }();
  return schema;
}

std::string Quoted(std::string_view text) {
  std::string out = "\"";
  for (const char c : text) {
    if (c == '"' || c == '\\') out += '\\';
    out += c;
  }
  return out + "\"";
}

}  // namespace

Environment DwelldEnvironment() {
  Environment found;
  for (char** entry = environ; *entry != nullptr; ++entry) {
    const std::string_view text(*entry);
    const std::size_t equals = text.find('=');
    if (!text.starts_with("DWELLD_") || equals == std::string_view::npos) continue;
    found.emplace_back(text.substr(0, equals), text.substr(equals + 1));
  }
  return found;
}

Result<Config, std::vector<Finding>> ReadConfig(const std::string& file, std::string_view text,
                                                const Environment& environment) {
  std::vector<Finding> findings;
  const auto overrides = Overrides(environment, findings);
  const auto toml = ReadToml(file, text, overrides);
  if (!toml) {
    findings.push_back(toml.error());
    return findings;
  }
  const schemas::Value root = toml->document.root();
  for (const auto& violation : ConfigSchema().Check(root)) {
    findings.push_back(
        {file, toml->LineOf(violation.pointer), violation.pointer, violation.expected});
  }
  if (!findings.empty()) return findings;

  Config config;
  const auto folder = std::filesystem::path(file).parent_path();
  for (const Key& key : AllKeys()) {
    const auto section = root.Find(key.section);
    const auto value = section ? section->Find(key.name) : std::nullopt;
    if (value) Fill(key, *value, folder, config);
  }
  FillEndpoints(root, folder, config);
  if (config.admin.socket.empty()) config.admin.socket = config.store.path + ".socket";
  const std::vector<Finding> together = CheckTogether(config, *toml);
  findings.insert(findings.end(), together.begin(), together.end());
  if (!findings.empty()) return findings;
  return config;
}

Result<Config, std::vector<Finding>> LoadConfig(const std::string& file,
                                                const Environment& environment) {
  const auto text = ReadTextFile(file);
  if (!text) return std::vector<Finding>{{file, 0, "", text.error().message()}};
  return ReadConfig(file, *text, environment);
}

std::vector<Config::Endpoint> AllEndpoints(const Config& config) {
  std::vector<Config::Endpoint> all{config.endpoint};
  all.insert(all.end(), config.endpoints.begin(), config.endpoints.end());
  return all;
}

namespace {

/// The keys in `only` (empty: all); `header` stands over them (empty: the section's name).
std::string PrintKeys(Config copy, std::string_view only, const std::string& header) {
  std::string out;
  std::string_view section;
  for (const Key& key : AllKeys()) {
    if (!only.empty() && only != key.section) continue;
    const Field field = key.field(copy);
    if (!header.empty() && std::string_view(key.name) == "fhir_version")
      continue;  // the main one's
    std::string value;
    if (const auto* const text = std::get_if<std::string*>(&field)) {
      if ((*text)->empty()) continue;  // not set
      value = Quoted(**text);
    } else if (const auto* const truth = std::get_if<bool*>(&field)) {
      value = **truth ? "true" : "false";
    } else if (const auto* const texts = std::get_if<Texts*>(&field)) {
      if ((*texts)->empty()) continue;
      for (const std::string& item : **texts) value += (value.empty() ? "[" : ", ") + Quoted(item);
      value += "]";
    } else {
      value = std::to_string(**std::get_if<std::int64_t*>(&field));
    }
    if (section != key.section) {
      out.append(section.empty() && header.empty() ? "" : "\n");
      out.append("[").append(header.empty() ? key.section : header).append("]\n");
      section = key.section;
    }
    out.append(key.name).append(" = ").append(value).append("\n");
  }
  return out;
}

}  // namespace

std::string PrintConfig(const Config& config) {
  std::string out = PrintKeys(config, "", "");
  for (const Config::Endpoint& endpoint : config.endpoints) {
    Config copy;
    copy.endpoint = endpoint;
    out += PrintKeys(std::move(copy), "endpoint", "endpoints." + endpoint.name);
  }
  return out;
}

}  // namespace dwell::config
