#include "tests/endpoint/desk.h"

#include <algorithm>

#include "schemas/json/document.h"
#include "schemas/json/writer.h"

namespace practice {
namespace {

using dwell::schemas::Document;
using dwell::schemas::JsonWriter;
using dwell::schemas::ParseLimits;
using dwell::schemas::Value;

constexpr ParseLimits kLimits{.bytes_max = 16U << 20U, .values_max = 1'000'000};

bool Says(Value object, std::string_view name, std::string_view text) {
  const auto value = object.is_object() ? object.Find(name) : std::nullopt;
  return value && value->is_string() && value->AsString() == text;
}

std::string Version(std::uint64_t version) { return "W/\"" + std::to_string(version) + "\""; }

bool IsStatement(const HttpRequest& request) { return request.target.ends_with("/metadata"); }

void WriteEntry(JsonWriter& writer, const Done& done) {
  writer.BeginObject();
  writer.Name("response");
  writer.BeginObject();
  writer.Member("status", done.status);
  writer.Member("location", done.location());
  writer.Member("etag", Version(done.version));
  writer.Member("lastModified", done.modified);
  writer.EndObject();
  writer.EndObject();
}

void WriteEntry(JsonWriter& writer, const Refusal& refusal) {
  writer.BeginObject();
  writer.Name("response");
  writer.BeginObject();
  writer.Member("status", std::to_string(refusal.status));
  writer.MemberRaw("outcome", Outcome(refusal.code, refusal.diagnostics));
  writer.EndObject();
  writer.EndObject();
}

/// The keys of a bundle's entries as they are written in it, without parsing: "url":"Type/id", or
/// "Type?identifier=...".
std::vector<std::string> UrlsIn(std::string_view body) {
  constexpr std::string_view kMark = "\"url\":\"";
  std::vector<std::string> urls;
  for (std::size_t at = body.find(kMark); at != std::string_view::npos; at = body.find(kMark, at)) {
    at += kMark.size();
    const std::string_view url = body.substr(at, body.find('"', at) - at);
    const bool is_key = url.find('/') != std::string_view::npos ||
                        url.find("?identifier=") != std::string_view::npos;
    if (is_key && url.find(':') == std::string_view::npos) {
      urls.emplace_back(url);
    }
  }
  return urls;
}

}  // namespace

void Desk::SetMood(const Mood& mood) {
  const std::scoped_lock lock(mutex_);
  mood_ = mood;
}

void Desk::SetManners(const Manners& manners) {
  const std::scoped_lock lock(mutex_);
  Behave(manners);
}

void Desk::Behave(const Manners& manners) {
  manners_ = manners;
  interactions_.referential = manners.referential;
  interactions_.resolving = manners.resolving;
  interactions_.own_ids = manners.own_ids;
}

Manners Desk::manners() const {
  const std::scoped_lock lock(mutex_);
  return manners_;
}

Counts Desk::counts() const {
  const std::scoped_lock lock(mutex_);
  return counts_;
}

void Desk::Demand(std::string authorization) {
  const std::scoped_lock lock(mutex_);
  authorization_ = std::move(authorization);
}

void Desk::OnCommit(std::function<void(std::string_view)> seen) {
  const std::scoped_lock lock(mutex_);
  seen_ = std::move(seen);
}

std::uint64_t Desk::VersionOf(const std::string& key) const {
  const std::scoped_lock lock(mutex_);
  const Held* const held = record_.Find(key);
  return held == nullptr ? 0 : held->version;
}

bool Desk::Forget(const std::string& key) {
  const std::scoped_lock lock(mutex_);
  return record_.Forget(key);
}

bool Desk::Alter(const std::string& key, const std::string& from, const std::string& to) {
  const std::scoped_lock lock(mutex_);
  return record_.Alter(key, from, to);
}

std::string Desk::Dump(std::string_view type) const {
  const std::scoped_lock lock(mutex_);
  return Lines(type);
}

std::string Desk::Lines(std::string_view type) const {
  std::string lines;
  for (const Held* const held : record_.All()) {
    if (held->deleted || held->json.empty() || (!type.empty() && held->type != type)) continue;
    lines.append(held->json).append("\n");
  }
  return lines;
}

Mood Desk::MoodFor(const HttpRequest& request) {
  const std::scoped_lock lock(mutex_);
  if (mood_.next == 0 || request.target.starts_with("/_practice")) return {};
  if (IsStatement(request) && mood_.containing.empty()) return {};
  if (request.body.find(mood_.containing) == std::string_view::npos &&
      request.target.find(mood_.containing) == std::string_view::npos) {
    return {};
  }
  if (mood_.next > 0) --mood_.next;
  return mood_;
}

std::vector<std::string> Desk::Enter(const HttpRequest& request) {
  std::vector<std::string> keys = UrlsIn(request.body);
  if (request.method == "PUT") keys.emplace_back(request.target);
  const std::scoped_lock lock(mutex_);
  if (request.target.starts_with(kBase)) ++counts_.requests;
  ++in_flight_;
  counts_.in_flight_max = std::max(counts_.in_flight_max, in_flight_);
  bool overlaps = false;
  for (const std::string& key : keys) overlaps = in_flight_keys_[key]++ > 0 || overlaps;
  if (overlaps) ++counts_.overlaps;
  return keys;
}

void Desk::Leave(const std::vector<std::string>& keys) {
  const std::scoped_lock lock(mutex_);
  --in_flight_;
  for (const std::string& key : keys) {
    const auto found = in_flight_keys_.find(key);
    if (--found->second == 0) in_flight_keys_.erase(found);
  }
}

HttpResponse Desk::Answer(const HttpRequest& request) {
  const std::scoped_lock lock(mutex_);
  return Route(request);
}

HttpResponse Desk::Refuse(const Refusal& refusal) {
  ++counts_.refused;
  HttpResponse response;
  response.status = refusal.status;
  response.body = Outcome(refusal.code, refusal.diagnostics);
  return response;
}

HttpResponse Desk::RefuseSize(const char* code, const char* diagnostics) {
  return Refuse({manners_.limits_in_words ? 400 : 413, code, diagnostics});
}

void Desk::Committed(const std::vector<Done>& done, std::string_view body) {
  for (const Done& one : done) {
    if (one.is_no_change) {
      ++counts_.unchanged;
    } else if (one.status.starts_with("201")) {
      ++counts_.created;
    } else if (one.status.starts_with("204")) {
      ++counts_.deleted;
    } else {
      ++counts_.updated;
    }
  }
  if (!bodies_.insert(std::hash<std::string_view>()(body)).second) ++counts_.repeats;
  if (seen_) seen_(body);
}

HttpResponse Desk::Route(const HttpRequest& request) {
  const std::size_t question = std::min(request.target.find('?'), request.target.size());
  std::string_view path = request.target.substr(0, question);
  const std::string_view query =
      request.target.substr(std::min(question + 1, request.target.size()));
  if (path.starts_with("/_practice/")) return Practice(path.substr(11), query, request);
  if (path == TokenDesk::kPath && tokens_.is_open() && request.method == "POST") {
    return tokens_.Answer(request.content_type, request.body);
  }
  if (!path.starts_with(kBase)) return Refuse({404, "not-found", "the base URL is another"});
  path.remove_prefix(kBase.size());
  if (!path.empty() && path.front() != '/') {
    return Refuse({404, "not-found", "the base URL is another"});
  }
  while (!path.empty() && path.front() == '/') path.remove_prefix(1);
  const bool is_stranger = !authorization_.empty() && request.authorization != authorization_;
  if (is_stranger || !tokens_.Admits(request.authorization)) {
    return Refuse({401, "login", "credentials are missing or wrong"});
  }
  if (request.method == "GET") return Read(path, query);
  if (request.method != "DELETE" && !request.content_type.starts_with("application/fhir+json")) {
    return Refuse({415, "not-supported", "send application/fhir+json"});
  }
  if (manners_.bytes_max != 0 && request.body.size() > manners_.bytes_max) {
    return RefuseSize("too-long", "the body is too large");
  }
  if (path.empty() && request.method == "POST") return Bundle(request);
  return Single(request, request.target.substr(kBase.size() + 1));
}

HttpResponse Desk::Bundle(const HttpRequest& request) {
  const auto document = Document::Parse(request.body, kLimits);
  if (!document) return Refuse({400, "structure", "not legal JSON: " + document.error().expected});
  const Value bundle = document->root();
  const bool is_batch = Says(bundle, "type", "batch");
  if (!Says(bundle, "resourceType", "Bundle") ||
      (!is_batch && !Says(bundle, "type", "transaction"))) {
    return Refuse({400, "invalid", "not a Bundle of type transaction or batch"});
  }
  const bool is_taken =
      manners_.taking == Taking::kTransactions || (manners_.taking == Taking::kBatches && is_batch);
  if (!is_taken) return Refuse({405, "not-supported", "this endpoint does not take that"});
  std::optional<Refusal> refusal;
  const std::vector<Operation> operations = Interactions::Read(bundle, refusal);
  if (refusal) return Refuse(*refusal);
  if (manners_.entries_max != 0 && operations.size() > manners_.entries_max) {
    return RefuseSize("too-costly", "too many entries");
  }
  return Batch(is_batch, operations, request);
}

HttpResponse Desk::Batch(bool is_batch, const std::vector<Operation>& operations,
                         const HttpRequest& request) {
  JsonWriter writer;
  writer.BeginObject();
  writer.Member("resourceType", "Bundle");
  writer.Member("type", is_batch ? "batch-response" : "transaction-response");
  writer.Name("entry");
  writer.BeginArray();
  std::vector<Done> done;
  if (is_batch) {
    for (const Operation& operation : operations) {
      Outcomes outcomes = interactions_.Run({operation});
      if (outcomes.refusal) {
        WriteEntry(writer, *outcomes.refusal);
      } else {
        WriteEntry(writer, outcomes.done.front());
        done.push_back(std::move(outcomes.done.front()));
      }
    }
  } else {
    Outcomes outcomes = interactions_.Run(operations);
    if (outcomes.refusal) return Refuse(*outcomes.refusal);
    done = std::move(outcomes.done);
    for (const Done& one : done) WriteEntry(writer, one);
  }
  writer.EndArray();
  writer.EndObject();
  ++counts_.transactions;
  Committed(done, request.body);
  HttpResponse response;
  response.body = writer.Take();
  return response;
}

HttpResponse Desk::Single(const HttpRequest& request, std::string_view url) {
  const auto document =
      request.method == "DELETE" ? Document::Parse("null") : Document::Parse(request.body, kLimits);
  if (!document) return Refuse({400, "structure", "not legal JSON"});
  Operation operation;
  operation.method = request.method;
  operation.url = url;
  operation.if_none_exist = request.if_none_exist;
  operation.if_match = request.if_match;
  operation.resource = document->root();
  Outcomes outcomes = interactions_.Run({operation});
  if (outcomes.refusal) return Refuse(*outcomes.refusal);
  Committed(outcomes.done, request.body);
  const Done& done = outcomes.done.front();
  HttpResponse response;
  response.status = std::stoi(done.status);
  response.fields = "ETag: " + Version(done.version) + "\r\nLocation: " + std::string(kBase) + "/" +
                    done.location() + "\r\n";
  if (response.status != 204) response.body = record_.Find(done.type + "/" + done.id)->json;
  return response;
}

}  // namespace practice
