#include "tests/endpoint/resource_text.h"

#include <array>
#include <chrono>
#include <ctime>

#include "mapping/event/moment.h"
#include "schemas/json/writer.h"

namespace practice {
namespace {

using dwell::schemas::JsonWriter;
using dwell::schemas::Kind;
using dwell::schemas::Value;

class Rewriter {
 public:
  Rewriter(const Targets& targets, ResourceText& text) : targets_(targets), text_(text) {}

  void Resource(Value resource, const Stamp& stamp) {
    writer_.BeginObject();
    if (const auto type = resource.Find("resourceType")) {
      writer_.Name("resourceType");
      Any(*type);
    }
    writer_.Member("id", stamp.id);
    Meta(resource.Find("meta"), stamp);
    for (const Value member : resource) {
      const std::string_view name = member.name();
      if (name == "resourceType" || name == "id" || name == "meta") continue;
      if (name == "identifier") Identifiers(member, "value", "");
      writer_.Name(name);
      Any(member);
    }
    writer_.EndObject();
    text_.json = writer_.Take();
  }

  void Some(Value resource, std::string_view elements) {
    const std::string named = "resourceType,id,meta," + std::string(elements) + ",";
    writer_.BeginObject();
    for (const Value member : resource) {
      if (("," + named).find("," + std::string(member.name()) + ",") == std::string::npos) continue;
      writer_.Name(member.name());
      Any(member);
    }
    writer_.EndObject();
    text_.json = writer_.Take();
  }

 private:
  void Meta(std::optional<Value> meta, const Stamp& stamp) {
    writer_.Name("meta");
    writer_.BeginObject();
    writer_.Member("versionId", stamp.version);
    writer_.Member("lastUpdated", stamp.modified);
    if (meta && meta->is_object()) {
      if (const auto tags = meta->Find("tag")) Identifiers(*tags, "code", "_tag:");
      for (const Value member : *meta) {
        if (member.name() == "versionId" || member.name() == "lastUpdated") continue;
        writer_.Name(member.name());
        Any(member);
      }
    }
    writer_.EndObject();
  }

  void Identifiers(Value value, std::string_view member, std::string key) {
    if (value.is_array()) {
      for (const Value one : value) Identifiers(one, member, key);
      return;
    }
    const auto system = value.is_object() ? value.Find("system") : std::nullopt;
    const auto text = value.is_object() ? value.Find(member) : std::nullopt;
    if (!text || !text->is_string()) return;
    key += system && system->is_string() ? system->AsString() : std::string_view();
    text_.identifiers.push_back(key.append("|").append(text->AsString()));
  }

  void Reference(std::string_view target) {
    const bool is_urn = target.starts_with("urn:");
    const bool is_search = target.find('?') != std::string_view::npos;
    if (is_urn || is_search || target.starts_with("http")) {
      const auto found = targets_.find(std::string(target));
      if (found != targets_.end()) {
        text_.references.push_back(found->second);
        return writer_.String(found->second);
      }
      if (is_urn) text_.unresolved.emplace_back(target);
      if (is_search) text_.searches.emplace_back(target);
    } else if (!target.empty() && target.front() != '#') {
      text_.references.emplace_back(target.substr(0, target.find("/_history/")));
    }
    writer_.String(target);
  }

  void Any(Value value) {
    switch (value.kind()) {
      case Kind::kNull:
        return writer_.Null();
      case Kind::kBool:
        return writer_.Bool(value.AsBool());
      case Kind::kNumber:
        return writer_.Raw(value.NumberText());
      case Kind::kString:
        return value.name() == "reference" ? Reference(value.AsString())
                                           : writer_.String(value.AsString());
      case Kind::kArray:
        writer_.BeginArray();
        for (const Value element : value) Any(element);
        return writer_.EndArray();
      case Kind::kObject:
        writer_.BeginObject();
        for (const Value member : value) {
          writer_.Name(member.name());
          Any(member);
        }
        return writer_.EndObject();
    }
  }

  const Targets& targets_;
  ResourceText& text_;
  JsonWriter writer_;
};

}  // namespace

ResourceText Rewrite(Value resource, const Targets& targets, const Stamp& stamp) {
  ResourceText text;
  Rewriter(targets, text).Resource(resource, stamp);
  return text;
}

std::string Subset(const std::string& json, std::string_view elements) {
  if (elements.empty()) return json;
  const auto document = dwell::schemas::Document::Parse(json, {.bytes_max = json.size()});
  if (!document) return json;
  const Targets none;
  ResourceText text;
  Rewriter(none, text).Some(document->root(), elements);
  return text.json;
}

std::string InstantNow() {
  const auto now = std::chrono::system_clock::now();
  return dwell::FormatInstant(std::chrono::floor<std::chrono::milliseconds>(now));
}

std::string HttpDate(int seconds_from_now) {
  const std::time_t at = std::time(nullptr) + seconds_from_now;
  std::tm parts{};
  gmtime_r(&at, &parts);
  std::array<char, 40> text{};
  const std::size_t size =
      std::strftime(text.data(), text.size(), "%a, %d %b %Y %H:%M:%S GMT", &parts);
  return {text.data(), size};
}

std::string Outcome(std::string_view code, std::string_view diagnostics) {
  JsonWriter writer;
  writer.BeginObject();
  writer.Member("resourceType", "OperationOutcome");
  writer.Name("issue");
  writer.BeginArray();
  writer.BeginObject();
  writer.Member("severity", "error");
  writer.Member("code", code);
  writer.Member("diagnostics", diagnostics);
  writer.EndObject();
  writer.EndArray();
  writer.EndObject();
  return writer.Take();
}

}  // namespace practice
