#include "mapping/fhir/selection.h"

#include <algorithm>
#include <map>
#include <optional>

#include "mapping/fhir/draft.h"
#include "schemas/json/writer.h"

namespace dwell::fhir {
namespace {

/// How Draft writes a reference to one of our resources. Within a JSON string every quotation mark
/// is escaped, so that no text can look like this.
constexpr std::string_view kReference = R"("reference":")";
constexpr std::string_view kOurId = "/dwell-";
/// RFC 3986, as FHIR names it: the system of identifiers that are URIs.
constexpr std::string_view kUri = "urn:ietf:rfc:3986";

class Selecting {
 public:
  Selecting(const Types& types, const line::Line& line, const std::vector<due::Due>& dues,
            const Context& context)
      : types_(types), line_(line), dues_(dues), context_(context) {}

  std::string Rewrite(const std::string& json) {
    std::string text;
    std::size_t done = 0;
    for (auto at = json.find(kReference); at != std::string::npos;
         at = json.find(kReference, at + 1)) {
      const std::size_t begin = at + kReference.size();
      const std::size_t end = json.find('"', begin);
      const std::string_view name = std::string_view(json).substr(begin, end - begin);
      const std::size_t slash = name.find(kOurId);
      if (slash == name.npos || types_.contains(name.substr(0, slash))) continue;
      text.append(json, done, end + 1 - done).append(",").append(Naming(name, slash));
      done = end + 1;
    }
    return text.append(json, done);
  }

 private:
  /// The members type and identifier.
  std::string Naming(std::string_view name, std::size_t slash) {
    if (!identifiers_) identifiers_ = IdentifiersOf(line_, dues_, context_);
    const auto known = identifiers_->find(name);
    JsonWriter json;
    json.BeginObject();
    json.Member("type", name.substr(0, slash));
    json.Name("identifier");
    if (known != identifiers_->end()) {
      WriteIdentifier(json, known->second.system, known->second.value);
    } else {
      WriteIdentifier(json, kUri, "urn:uuid:" + std::string(name.substr(slash + kOurId.size())));
    }
    json.EndObject();
    const std::string object = json.Take();
    return object.substr(1, object.size() - 2);
  }

  const Types& types_;
  const line::Line& line_;
  const std::vector<due::Due>& dues_;
  const Context& context_;
  std::optional<Identifiers> identifiers_;  // made when first asked for
};

}  // namespace

std::vector<Resource> Select(const Types& types, const std::vector<Resource>& resources,
                             const line::Line& line, const std::vector<due::Due>& dues,
                             const Context& context) {
  if (types.empty()) return resources;
  std::vector<Resource> selected;
  Selecting selecting(types, line, dues, context);
  for (const Resource& resource : resources) {
    if (!types.contains(resource.type)) continue;
    selected.push_back(
        {resource.type, resource.id, selecting.Rewrite(resource.json), resource.role});
  }
  const bool tells = std::ranges::any_of(
      selected, [](const Resource& resource) { return resource.type != "Provenance"; });
  if (!tells) selected.clear();
  return selected;
}

}  // namespace dwell::fhir
