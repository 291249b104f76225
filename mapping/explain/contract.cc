#include "mapping/explain/contract.h"

#include "schemas/base/check.h"
#include "schemas/bundled.h"

namespace dwell::explain {
namespace {

using schemas::Document;
using schemas::Value;

constexpr std::string_view kCommon = "common.schema.json";
constexpr std::string_view kCode = "/definitions/code";

Document Load(const std::string& file) {
  const auto text = schemas::BundledText("event/" + file);
  CHECK(text.has_value());
  auto document = Document::Parse(*text);
  CHECK(document.has_value());
  return std::move(*document);
}

std::string Text(Value schema, std::string_view name) {
  const auto value = schema.Find(name);
  return value && value->is_string() ? std::string(value->AsString()) : std::string();
}

/// Walks the schema of one kind, following its references.
class Walk {
 public:
  explicit Walk(std::string_view kind)
      : own_(Load(std::string(kind) + ".schema.json")), common_(Load(std::string(kCommon))) {
    Object(own_.root(), own_, "");
  }
  std::vector<Field> Take() { return std::move(fields_); }

 private:
  /// `schema` stands in `file`: its references without a file name mean that one.
  void Any(Value schema, const Document& file, const std::string& pointer, bool code = false) {
    const std::string reference = Text(schema, "$ref");
    if (!reference.empty()) {
      const std::size_t hash = reference.find('#');
      const std::string target = reference.substr(hash + 1);
      const Document& where = reference.starts_with(kCommon) ? common_ : file;
      const auto found = where.At(target);
      CHECK(found.has_value());
      return Any(*found, where, pointer, target == kCode);
    }
    if (schema.Find("properties")) return Object(schema, file, pointer);
    if (const auto items = schema.Find("items")) return Any(*items, file, pointer + "/0");
    Field field{pointer, Text(schema, "type"), Text(schema, "format"), code, {}};
    if (const auto words = schema.Find("enum")) {
      for (const Value word : *words) field.words.emplace_back(word.AsString());
    }
    fields_.push_back(std::move(field));
  }

  void Object(Value schema, const Document& file, const std::string& pointer) {
    const auto properties = schema.Find("properties");
    CHECK(properties.has_value());
    for (const Value member : *properties) {
      Any(member, file, pointer + "/" + schemas::PointerToken(member.name()));
    }
  }

  Document own_;
  Document common_;
  std::vector<Field> fields_;
};

}  // namespace

std::vector<Field> FieldsOf(std::string_view kind) { return Walk(kind).Take(); }

}  // namespace dwell::explain
