#include "daemon/delivery/rewrite.h"

#include <algorithm>

#include "daemon/base/limits.h"
#include "mapping/fhir/elements.h"
#include "mapping/fhir/references.h"
#include "schemas/json/write_value.h"

namespace dwell::delivery {
namespace {

using schemas::Document;
using schemas::JsonWriter;
using schemas::Value;

/// A bundle of ours is made under the limits of what we make; this only keeps a damaged one from
/// costing more than that.
constexpr schemas::ParseLimits kFrozenLimits{.bytes_max = 16 * limits::kMiB,
                                             .values_max = 1'000'000};
/// R4 datatypes.html#Identifier: the system of an identifier that is itself a URI.
constexpr std::string_view kUriSystem = "urn:ietf:rfc:3986";
constexpr std::string_view kUrnUuid = "urn:uuid:";
constexpr std::string_view kIdPrefix = "dwell-";
constexpr std::size_t kUuidBytes = 36;

std::string_view Text(std::optional<Value> object, std::string_view name) {
  const auto value = object && object->is_object() ? object->Find(name) : std::nullopt;
  return value && value->is_string() ? value->AsString() : std::string_view();
}

/// A reference to a resource of ours, "Type/dwell-UUID", in its parts.
struct Own {
  std::string_view type, uuid;
};

std::optional<Own> ReadOwn(std::string_view reference) {
  const std::size_t slash = reference.find('/');
  if (slash == std::string_view::npos) return std::nullopt;
  std::string_view id = reference.substr(slash + 1);
  if (!id.starts_with(kIdPrefix) || id.size() != kIdPrefix.size() + kUuidBytes) return std::nullopt;
  id.remove_prefix(kIdPrefix.size());
  return Own{reference.substr(0, slash), id};
}

/// "Patient?identifier=...", as fhir::ConditionalReference() writes it.
bool IsSearch(std::string_view reference) {
  return reference.find("?identifier=") != std::string_view::npos &&
         reference.find(':') == std::string_view::npos;
}

std::string Urn(std::string_view uuid) { return std::string(kUrnUuid).append(uuid); }

class Rewriter {
 public:
  Rewriter(Interaction interaction, Identity identity)
      : is_transaction_(interaction == Interaction::kTransaction),
        is_conditional_(identity == Identity::kConditionalUpdate) {}

  std::vector<Entry> Run(Value entries) {
    std::vector<Entry> written;
    for (const Value entry : entries) inside_.push_back(Text(entry, "fullUrl"));
    for (const Value entry : entries) {
      if (!Write(entry, written.emplace_back())) return {};
    }
    return written;
  }

 private:
  bool Write(Value from, Entry& entry) {
    const auto request = from.is_object() ? from.Find("request") : std::nullopt;
    const auto resource = from.is_object() ? from.Find("resource") : std::nullopt;
    const std::string_view url = Text(request, "url");
    const auto own = ReadOwn(url);
    if (!own || Text(request, "method") != "PUT" || Text(resource, "resourceType") != own->type ||
        url.substr(own->type.size() + 1) != Text(resource, "id") ||
        Text(from, "fullUrl") != Urn(own->uuid)) {
      return false;
    }
    entry.full_url = Urn(own->uuid);
    entry.type = own->type;
    entry.method = "PUT";
    entry.url = url;
    if (is_conditional_) Aim(*resource, entry);
    Resource(*resource, entry);
    entry.resource = json_.Take();
    return true;
  }

  /// By what the endpoint finds the resource.
  static void Aim(Value resource, Entry& entry) {
    const auto identifiers = resource.Find("identifier");
    const auto first = identifiers && identifiers->is_array() ? identifiers->first() : std::nullopt;
    const std::string_view value = Text(first, "value");
    if (!value.empty()) {
      entry.url = fhir::ConditionalReference(entry.type, Text(first, "system"), value);
      return;
    }
    entry.method = "POST";
    entry.url = entry.type;
    entry.if_none_exist =
        "_tag=" + fhir::EncodeSegment(kUriSystem) + "%7C" + fhir::EncodeSegment(entry.full_url);
  }

  void Resource(Value resource, const Entry& entry) {
    const bool is_tagged = !entry.if_none_exist.empty();
    json_.BeginObject();
    for (const Value member : resource) {
      const std::string_view name = member.name();
      if (is_conditional_ && name == "id") continue;  // theirs
      if (is_tagged && name == "meta") continue;
      json_.Name(name);
      if (is_conditional_ && name == "identifier") {
        Extended(member, entry, "value");
      } else {
        Any(member);
      }
      if (is_tagged && name == "resourceType") Meta(resource.Find("meta"), entry);
    }
    json_.EndObject();
  }

  /// The list with the UUID as one more: of identifiers ("value") or of tags ("code").
  void Extended(std::optional<Value> list, const Entry& entry, std::string_view member) {
    json_.BeginArray();
    if (list && list->is_array()) {
      for (const Value one : *list) Any(one);
    }
    json_.BeginObject();
    json_.Member("system", kUriSystem);
    json_.Member(member, entry.full_url);
    json_.EndObject();
    json_.EndArray();
  }

  void Meta(std::optional<Value> meta, const Entry& entry) {
    json_.Name("meta");
    json_.BeginObject();
    std::optional<Value> tags;
    if (meta && meta->is_object()) {
      for (const Value member : *meta) {
        if (member.name() == "tag") {
          tags = member;
          continue;
        }
        json_.Name(member.name());
        Any(member);
      }
    }
    json_.Name("tag");
    Extended(tags, entry, "code");
    json_.EndObject();
  }

  void Any(Value value) {
    if (value.is_array()) {
      json_.BeginArray();
      for (const Value element : value) Any(element);
      json_.EndArray();
    } else if (value.is_object()) {
      json_.BeginObject();
      for (const Value member : value) Member(value, member);
      json_.EndObject();
    } else {
      schemas::WriteValue(json_, value);
    }
  }

  void Member(Value object, Value member) {
    if (member.name() == "reference" && member.is_string()) return Reference(object, member);
    json_.Name(member.name());
    Any(member);
  }

  void Reference(Value object, Value member) {
    const std::string_view target = member.AsString();
    const bool has_identifier = object.Find("identifier").has_value();
    if (!is_transaction_ && has_identifier && IsSearch(target)) return;  // the identifier stays
    const auto own = is_conditional_ ? ReadOwn(target) : std::nullopt;
    if (!own) return json_.Member("reference", target);
    const std::string urn = Urn(own->uuid);
    const bool is_inside = std::ranges::find(inside_, urn) != inside_.end();
    if (is_transaction_ && is_inside) return json_.Member("reference", urn);
    if (is_transaction_) {
      return json_.Member("reference", fhir::ConditionalReference(own->type, kUriSystem, urn));
    }
    if (!object.Find("type")) json_.Member("type", own->type);
    if (has_identifier) return;
    json_.Name("identifier");
    fhir::WriteIdentifier(json_, kUriSystem, urn);
  }

  bool is_transaction_, is_conditional_;
  std::vector<std::string_view> inside_;  ///< full URLs of the bundle
  JsonWriter json_;
};

}  // namespace

bool IsOwn(std::string_view reference) { return ReadOwn(reference).has_value(); }

std::vector<Entry> EntriesOf(std::string_view frozen, Interaction interaction, Identity identity) {
  const auto document = Document::Parse(frozen, kFrozenLimits);
  if (!document) return {};
  const Value root = document->root();
  const auto entries = root.is_object() ? root.Find("entry") : std::nullopt;
  if (Text(root, "resourceType") != "Bundle" || !entries || !entries->is_array()) return {};
  return Rewriter(interaction, identity).Run(*entries);
}

std::string BundleOf(Interaction interaction, const std::vector<const Entry*>& entries) {
  JsonWriter json;
  json.BeginObject();
  json.Member("resourceType", "Bundle");
  json.Member("type", InteractionName(interaction));
  json.Name("entry");
  json.BeginArray();
  for (const Entry* const entry : entries) {
    json.BeginObject();
    json.Member("fullUrl", entry->full_url);
    json.MemberRaw("resource", entry->resource);
    json.Name("request");
    json.BeginObject();
    json.Member("method", entry->method);
    json.Member("url", entry->url);
    if (!entry->if_none_exist.empty()) json.Member("ifNoneExist", entry->if_none_exist);
    json.EndObject();
    json.EndObject();
  }
  json.EndArray();
  json.EndObject();
  return json.Take();
}

}  // namespace dwell::delivery
