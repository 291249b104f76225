// The reading side of the desk: read, vread, search, capabilities and the practice's own pages.
#include <algorithm>

#include "schemas/json/writer.h"
#include "tests/endpoint/desk.h"
#include "tests/endpoint/metadata.h"

namespace practice {
namespace {

using dwell::schemas::JsonWriter;

}  // namespace

HttpResponse Desk::Read(std::string_view path, std::string_view query) {
  HttpResponse response;
  if (path == "metadata" && manners_.telling == Telling::kMissing) {
    return Refuse({404, "not-found", "no statement here"});
  }
  if (path == "metadata") return Metadata(manners_);
  const std::size_t slash = path.find('/');
  if (slash == std::string_view::npos) return Find(std::string(path), query);
  constexpr std::string_view kHistory = "/_history/";
  const std::size_t at = path.find(kHistory);
  const std::string key(path.substr(0, at));
  const Held* const held = record_.Find(key);
  if (held == nullptr) return Refuse({404, "not-found", "no such resource"});
  const std::string version = at == std::string_view::npos
                                  ? std::to_string(held->version)
                                  : std::string(path.substr(at + kHistory.size()));
  if (version == std::to_string(held->version)) {
    if (held->deleted) return Refuse({410, "deleted", "the resource was deleted"});
    response.body = held->json;
  } else {
    for (std::size_t i = 0; i < held->older.size(); ++i) {
      if (version == std::to_string(i + 1)) response.body = held->older[i];
    }
    if (response.body.empty()) return Refuse({404, "not-found", "no such version"});
  }
  response.fields = "ETag: W/\"" + version + "\"\r\n";
  return response;
}

/// What a search finds, as this endpoint is told to search.
std::vector<std::string> Desk::Matches(const std::string& type, const std::string& identifier) {
  if (manners_.searching != Searching::kIgnores) return record_.Search(type, identifier);
  std::vector<std::string> ids;
  for (const Held* const held : record_.All()) {
    if (held->type == type && !held->deleted) ids.push_back(held->id);
  }
  return ids;
}

HttpResponse Desk::Find(const std::string& type, std::string_view query) {
  const std::string tag = QueryValue(query, "_tag");
  const std::string identifier = tag.empty() ? QueryValue(query, "identifier") : "_tag:" + tag;
  if (identifier.empty()) {
    return Refuse({400, "not-supported", "search goes by identifier or tag only"});
  }
  ++counts_.searches;
  const std::vector<std::string> ids = Matches(type, identifier);
  const int count = std::atoi(QueryValue(query, "_count").c_str());
  const std::size_t shown =
      count > 0 ? std::min(ids.size(), static_cast<std::size_t>(count)) : ids.size();
  const std::string elements = QueryValue(query, "_elements");
  const std::size_t total = ids.size() + (manners_.searching == Searching::kMiscounts ? 1 : 0);
  JsonWriter writer;
  writer.BeginObject();
  writer.Member("resourceType", "Bundle");
  writer.Member("type", "searchset");
  writer.MemberInteger("total", static_cast<std::int64_t>(total));
  if (shown < ids.size()) {
    writer.MemberRaw("link", R"([{"relation":"next","url":"https://practice.example/next"}])");
  }
  if (shown > 0) {
    writer.Name("entry");
    writer.BeginArray();
    for (std::size_t i = 0; i < shown; ++i) {
      writer.BeginObject();
      writer.MemberRaw("resource", Subset(record_.Find(type + "/" + ids[i])->json, elements));
      writer.MemberRaw("search", R"({"mode":"match"})");
      writer.EndObject();
    }
    writer.EndArray();
  }
  writer.EndObject();
  HttpResponse response;
  response.body = writer.Take();
  return response;
}

std::string Desk::CountsText() const {
  std::uint64_t resources = 0, versions_max = 0, created_again = 0;
  for (const Held* const held : record_.InAnyOrder()) {
    resources += held->deleted ? 0 : 1;
    versions_max = std::max(versions_max, held->version);
    created_again += held->created > 1 ? 1 : 0;
  }
  JsonWriter writer;
  writer.BeginObject();
  const auto number = [&writer](std::string_view name, std::uint64_t value) {
    writer.MemberInteger(name, static_cast<std::int64_t>(value));
  };
  number("requests", counts_.requests);
  number("transactions", counts_.transactions);
  number("searches", counts_.searches);
  number("created", counts_.created);
  number("updated", counts_.updated);
  number("deleted", counts_.deleted);
  number("unchanged", counts_.unchanged);
  number("refused", counts_.refused);
  number("repeats", counts_.repeats);
  number("overlaps", counts_.overlaps);
  number("in_flight_max", counts_.in_flight_max);
  number("resources", resources);
  number("versions_max", versions_max);
  number("created_again", created_again);
  writer.EndObject();
  return writer.Take();
}

HttpResponse Desk::Practice(std::string_view path, std::string_view query,
                            const HttpRequest& request) {
  HttpResponse response;
  response.content_type = "application/json";
  if (path == "mood" && request.method == "POST") {
    Mood mood;
    Manners manners = manners_;
    if (!ReadMood(request.body, mood, manners)) return Refuse({400, "invalid", "no such mood"});
    mood_ = mood;
    Behave(manners);
    response.body = "{}";
  } else if (path == "forget" && request.method == "POST") {
    if (!record_.Forget(QueryValue(query, "key"))) return Refuse({404, "not-found", "no such key"});
    response.body = "{}";
  } else if (path == "alter" && request.method == "POST") {
    const bool is_altered =
        record_.Alter(QueryValue(query, "key"), QueryValue(query, "from"), QueryValue(query, "to"));
    if (!is_altered) return Refuse({404, "not-found", "no such key, or no such text in it"});
    response.body = "{}";
  } else if (path == "counts") {
    response.body = CountsText();
  } else if (path == "dump") {
    const std::string type = QueryValue(query, "type");
    response.content_type = "application/fhir+ndjson";
    response.body = Lines(type);
  } else {
    return Refuse({404, "not-found", "pages: mood, counts, dump, forget, alter"});
  }
  return response;
}

}  // namespace practice
