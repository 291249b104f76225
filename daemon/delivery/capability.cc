#include "daemon/delivery/capability.h"

#include <algorithm>

#include "daemon/base/limits.h"
#include "daemon/delivery/bundle_shape.h"
#include "schemas/json/document.h"

namespace dwell::delivery {
namespace {

using schemas::Document;
using schemas::Value;

/// A server that knows every type with every search parameter lists tens of thousands of values.
constexpr schemas::ParseLimits kStatementLimits{.bytes_max = limits::kResponseBytesMax,
                                                .values_max = 1'000'000};

std::string Text(Value object, std::string_view name) {
  const auto value = object.Find(name);
  return value && value->is_string() ? std::string(value->AsString()) : std::string();
}

std::optional<bool> Truth(Value object, std::string_view name) {
  const auto value = object.Find(name);
  if (!value || !value->is_bool()) return std::nullopt;
  return value->AsBool();
}

std::vector<std::string> Texts(Value object, std::string_view name) {
  std::vector<std::string> texts;
  const auto list = object.Find(name);
  if (!list || !list->is_array()) return texts;
  for (const Value value : *list) {
    if (value.is_string()) texts.emplace_back(value.AsString());
  }
  return texts;
}

std::vector<Value> Objects(Value object, std::string_view name) {
  std::vector<Value> objects;
  const auto list = object.Find(name);
  if (!list || !list->is_array()) return objects;
  for (const Value value : *list) {
    if (value.is_object()) objects.push_back(value);
  }
  return objects;
}

/// The text `member` of each object in the list `name`.
std::vector<std::string> Each(Value object, std::string_view name, std::string_view member) {
  std::vector<std::string> texts;
  for (const Value value : Objects(object, name)) {
    std::string text = Text(value, member);
    if (!text.empty()) texts.push_back(std::move(text));
  }
  return texts;
}

TypeCapability ReadType(Value resource) {
  TypeCapability type;
  type.type = Text(resource, "type");
  type.interactions = Each(resource, "interaction", "code");
  type.update_create = Truth(resource, "updateCreate");
  type.conditional_create = Truth(resource, "conditionalCreate");
  type.conditional_update = Truth(resource, "conditionalUpdate");
  type.reference_policies = Texts(resource, "referencePolicy");
  type.search_parameters = Each(resource, "searchParam", "name");
  return type;
}

void ReadServer(Value rest, Capability& capability) {
  capability.is_server = true;
  capability.interactions = Each(rest, "interaction", "code");
  for (const Value resource : Objects(rest, "resource")) {
    capability.types.push_back(ReadType(resource));
  }
  const auto security = rest.Find("security");
  if (!security || !security->is_object()) return;
  for (const Value service : Objects(*security, "service")) {
    const auto codes = Each(service, "coding", "code");
    auto& all = capability.security_services;
    all.insert(all.end(), codes.begin(), codes.end());
  }
}

}  // namespace

bool Lists(const std::vector<std::string>& list, std::string_view word) {
  return std::ranges::find(list, word) != list.end();
}

bool TypeCapability::Has(std::string_view interaction) const {
  return Lists(interactions, interaction);
}

const TypeCapability* Capability::Find(std::string_view type) const {
  const auto found = std::ranges::find(types, type, &TypeCapability::type);
  return found == types.end() ? nullptr : &*found;
}

Result<Capability, NoCapability> ReadCapability(std::string_view body) {
  if (body.empty()) return NoCapability{"an empty answer"};
  const auto document = Document::Parse(body, kStatementLimits);
  if (!document) return NoCapability{"an answer that is no legal JSON"};
  const Value root = document->root();
  if (!root.is_object() || !Says(root, "resourceType", "CapabilityStatement")) {
    return NoCapability{"JSON that is no CapabilityStatement"};
  }
  Capability capability;
  capability.fhir_version = Text(root, "fhirVersion");
  capability.formats = Texts(root, "format");
  for (const Value rest : Objects(root, "rest")) {
    if (!Says(rest, "mode", "server")) continue;
    ReadServer(rest, capability);
    break;
  }
  return capability;
}

std::optional<SmartConfiguration> ReadSmartConfiguration(std::string_view body) {
  const auto document = Document::Parse(body, kStatementLimits);
  if (!document || !document->root().is_object()) return std::nullopt;
  SmartConfiguration smart;
  smart.token_endpoint = Text(document->root(), "token_endpoint");
  smart.auth_methods = Texts(document->root(), "token_endpoint_auth_methods_supported");
  return smart;
}

}  // namespace dwell::delivery
