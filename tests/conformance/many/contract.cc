#include "tests/conformance/many/contract.h"

#include <algorithm>

#include "schemas/base/check.h"
#include "schemas/bundled.h"

namespace dwell::many {

std::string_view Node::Text(std::string_view keyword) const {
  const auto found = Find(keyword);
  if (!found) return {};
  if (found->is_number()) return found->NumberText();
  return found->is_string() ? found->AsString() : std::string_view();
}

bool Node::Requires(std::string_view member) const {
  const auto names = Find("required");
  return names && std::any_of(names->begin(), names->end(),
                              [&](schemas::Value name) { return name.AsString() == member; });
}

Contract::Contract() {
  std::vector<std::string> names = Kinds();
  names.emplace_back("common");
  for (const std::string& name : names) {
    const std::string file = name + ".schema.json";
    const auto text = schemas::BundledText("event/" + file);
    CHECK(text.has_value());
    auto document = schemas::Document::Parse(*text);
    CHECK(document.has_value());
    documents_.emplace(file, std::move(*document));
  }
}

const std::vector<std::string>& Contract::Kinds() {
  static const std::vector<std::string> kKinds = {"insertion",       "site-check", "flush",
                                                  "dressing-change", "removal",    "retraction"};
  return kKinds;
}

Node Contract::Root(std::string_view kind) const {
  const auto found = documents_.find(std::string(kind) + ".schema.json");
  CHECK(found != documents_.end());
  return Resolve(found->second.root(), found->first);
}

Node Contract::Resolve(schemas::Value schema, std::string_view file,
                       std::string_view definition) const {
  const auto reference = schema.Find("$ref");
  if (!reference) return {schema, file, definition};
  const std::string_view text = reference->AsString();
  const std::size_t hash = text.find('#');
  CHECK(hash != std::string_view::npos);
  const auto document = documents_.find(hash == 0 ? file : text.substr(0, hash));
  CHECK(document != documents_.end());
  const auto target = document->second.At(text.substr(hash + 1));
  CHECK(target.has_value());
  return Resolve(*target, document->first, text.substr(text.rfind('/') + 1));
}

}  // namespace dwell::many
