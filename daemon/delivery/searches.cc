#include "daemon/delivery/searches.h"

#include <algorithm>

#include "schemas/base/check.h"

namespace dwell::delivery {
namespace {

bool IsEncoded(char c) {
  return (c >= '0' && c <= '9') || (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '-' ||
         c == '.' || c == '_' || c == '~' || c == '%';
}

/// "Type?identifier=..." with nothing in it that could be more than one value on a request line.
bool IsOurs(std::string_view reference, const std::vector<std::string>& types) {
  constexpr std::string_view kQuery = "?identifier=";
  return std::any_of(types.begin(), types.end(), [&](const std::string& type) {
    if (!reference.starts_with(type)) return false;
    std::string_view rest = reference.substr(type.size());
    if (!rest.starts_with(kQuery)) return false;
    rest.remove_prefix(kQuery.size());
    return !rest.empty() && std::all_of(rest.begin(), rest.end(), IsEncoded);
  });
}

}  // namespace

Searches FindSearches(std::string_view body, const std::vector<std::string>& types) {
  constexpr std::string_view kMark = "\"reference\":\"";
  Searches found;
  for (std::size_t at = body.find(kMark); at != std::string_view::npos; at = body.find(kMark, at)) {
    at += kMark.size();
    const std::string_view text = body.substr(at, body.find('"', at) - at);
    if (!IsOurs(text, types)) continue;
    const auto known = std::find(found.texts.begin(), found.texts.end(), text);
    found.places.push_back({at, static_cast<std::size_t>(known - found.texts.begin())});
    if (known == found.texts.end()) found.texts.emplace_back(text);
  }
  return found;
}

std::string PutLiterals(std::string_view body, const Searches& searches,
                        const std::vector<std::string>& literals) {
  CHECK(literals.size() == searches.texts.size());
  std::string out;
  out.reserve(body.size());
  std::size_t copied = 0;
  for (const Searches::Place& place : searches.places) {
    out.append(body.substr(copied, place.at - copied)).append(literals[place.which]);
    copied = place.at + searches.texts[place.which].size();
  }
  return out.append(body.substr(copied));
}

}  // namespace dwell::delivery
