#include "schemas/bundled.h"

#include <algorithm>
#include <span>

#include "schemas/report.h"

namespace dwell::schemas {

/// Made by schemas/embed.cmake: path below schemas/, and text.
std::span<const std::pair<std::string_view, std::string_view>> BundledFiles();

namespace {

constexpr std::string_view kSuffix = ".schema.json";
/// The name of the one file in each folder that only holds parts for the others.
constexpr std::string_view kParts[] = {"common", "datatypes"};

std::string_view FolderOf(FhirRelease release) {
  constexpr std::string_view kFolders[] = {"fhir/r4/", "fhir/r4b/", "fhir/r5/"};
  return kFolders[static_cast<std::size_t>(release)];
}

constexpr std::string_view kProfile = ".profile";

/// Whether the file of that name, without its suffix, is the one to check its type with.
bool IsWanted(std::string_view folder, std::string_view name, Structure structure) {
  if (std::find(std::begin(kParts), std::end(kParts), name) != std::end(kParts)) return false;
  if (name.ends_with(kProfile)) return structure == Structure::kProfiles;
  if (structure == Structure::kFhir) return true;
  const std::string profile = std::string(folder).append(name).append(kProfile).append(kSuffix);
  return !BundledText(profile);
}

/// Compiles every schema of a folder that is wanted, by the name of its file.
Result<std::vector<std::pair<std::string, Schema>>> LoadFolder(std::string_view folder,
                                                               Structure structure) {
  std::vector<std::pair<std::string, Schema>> table;
  const FileResolver files = [folder](std::string_view name) {
    return BundledText(std::string(folder).append(name));
  };
  for (const auto& [path, text] : BundledFiles()) {
    if (!path.starts_with(folder) || !path.ends_with(kSuffix)) continue;
    std::string_view name =
        path.substr(folder.size(), path.size() - folder.size() - kSuffix.size());
    if (!IsWanted(folder, name, structure)) continue;
    if (name.ends_with(kProfile)) name.remove_suffix(kProfile.size());
    auto schema = Schema::Load(text, files);
    if (schema.has_error()) {
      return Error(ErrorKind::kData, std::string(path) + ": " + schema.error().message());
    }
    table.emplace_back(name, std::move(*schema));
  }
  return table;
}

}  // namespace

std::optional<std::string_view> BundledText(std::string_view path) {
  for (const auto& [name, text] : BundledFiles()) {
    if (name == path) return text;
  }
  return std::nullopt;
}

Result<Bundled> Bundled::Load(FhirRelease release, Structure structure) {
  Bundled bundled;
  auto events = LoadFolder("event/", structure);
  if (events.has_error()) return events.error();
  auto resources = LoadFolder(FolderOf(release), structure);
  if (resources.has_error()) return resources.error();
  bundled.events_ = std::move(*events);
  bundled.resources_ = std::move(*resources);
  return bundled;
}

std::vector<Violation> Bundled::CheckBy(const Table& table, std::string_view member, Value value) {
  if (!value.is_object()) return {{value.Pointer(), "type", "an object"}};
  const auto kind = value.Find(member);
  if (kind && kind->is_string()) {
    for (const auto& [name, schema] : table) {
      if (name == kind->AsString()) return schema.Check(value);
    }
  }
  const std::string pointer = value.Pointer() + "/" + std::string(member);
  if (!kind) return {{pointer, "required", "this member"}};
  std::vector<std::string_view> names;
  for (const auto& [name, schema] : table) names.push_back(name);
  return {{pointer, "enum", DescribeTexts(names)}};
}

std::vector<Violation> Bundled::CheckEvent(Value event) const {
  return CheckBy(events_, "kind", event);
}

std::vector<Violation> Bundled::CheckResource(Value resource) const {
  return CheckBy(resources_, "resourceType", resource);
}

}  // namespace dwell::schemas
