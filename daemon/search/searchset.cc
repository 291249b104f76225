#include "daemon/search/searchset.h"

#include <algorithm>
#include <iterator>

#include "daemon/search/task_parameters.h"
#include "schemas/json/document.h"
#include "schemas/json/writer.h"

namespace dwell::search {
namespace {

using schemas::JsonWriter;

constexpr std::string_view kIdPrefix = "dwell-";

void WriteLink(JsonWriter& json, std::string_view relation, const std::string& query) {
  std::string url(kTaskPath);
  if (!query.empty()) url += "?" + query;
  json.BeginObject();
  json.Member("relation", relation);
  json.Member("url", url);
  json.EndObject();
}

void WriteMode(JsonWriter& json, std::string_view mode) {
  json.Name("search");
  json.BeginObject();
  json.Member("mode", mode);
  json.EndObject();
}

/// One that says what the answer lacks (R4 search.html#entry).
void WriteTrouble(JsonWriter& json, const std::vector<std::string>& troubles) {
  json.BeginObject();
  json.Name("resource");
  json.BeginObject();
  json.Member("resourceType", "OperationOutcome");
  json.Name("issue");
  json.BeginArray();
  for (const std::string& trouble : troubles) {
    json.BeginObject();
    json.Member("severity", "error");
    json.Member("code", "incomplete");
    json.Member("diagnostics", trouble);
    json.EndObject();
  }
  json.EndArray();
  json.EndObject();
  WriteMode(json, "outcome");
  json.EndObject();
}

}  // namespace

void Searchset::Take(const ledger::TaskPage& page) {
  for (const ledger::TaskPage::Line& line : page.lines) {
    if (!TakeLine(line)) return;
  }
  next_ = {page.next, 0};
}

/// False: the page is full before the line's end. A line is torn only where it has more than a
/// whole page: between two pages its Tasks may change.
bool Searchset::TakeLine(const ledger::TaskPage::Line& line) {
  const std::size_t told = line.line_seq == query_.place.line_seq ? query_.place.told : 0;
  if (!line.trouble.empty() && told == 0) {
    troubles_.push_back("what is due at line " + line.key.line_id + " of " + line.key.source +
                        " is not known: " + line.trouble);
  }
  std::vector<Match> fitting = FittingOf(line);
  const std::size_t left = fitting.size() - std::min(told, fitting.size());
  if (tasks_.size() + left > query_.count && !tasks_.empty()) {
    next_ = {line.line_seq, 0};
    return false;
  }
  const std::size_t taken = std::min(left, query_.count);
  const auto begin = fitting.begin() + static_cast<std::ptrdiff_t>(fitting.size() - left);
  std::move(begin, begin + static_cast<std::ptrdiff_t>(taken), std::back_inserter(tasks_));
  if (taken == left) return true;
  next_ = {line.line_seq, told + taken};
  return false;
}

std::vector<Searchset::Match> Searchset::FittingOf(const ledger::TaskPage::Line& line) const {
  std::vector<Match> fitting;
  for (const std::string& text : line.tasks) {
    const auto task = schemas::Document::Parse(text);
    if (!task || !Fits(query_, task->root())) continue;
    const auto id = task->root().Find("id");
    fitting.push_back({id && id->is_string() ? std::string(id->AsString()) : std::string(), text});
  }
  return fitting;
}

std::string Searchset::Finish(bool more) const {
  JsonWriter json;
  json.BeginObject();
  json.Member("resourceType", "Bundle");
  json.Member("type", "searchset");
  json.Name("link");
  json.BeginArray();
  WriteLink(json, "self", QueryOfPage(query_, query_.place));
  if (more) WriteLink(json, "next", QueryOfPage(query_, next_));
  json.EndArray();
  if (!tasks_.empty() || !troubles_.empty()) {  // no empty arrays in FHIR's JSON
    json.Name("entry");
    json.BeginArray();
    for (const Match& match : tasks_) {
      json.BeginObject();
      if (match.id.starts_with(kIdPrefix)) {
        json.Member("fullUrl", "urn:uuid:" + match.id.substr(kIdPrefix.size()));
      }
      json.MemberRaw("resource", match.json);
      WriteMode(json, "match");
      json.EndObject();
    }
    if (!troubles_.empty()) WriteTrouble(json, troubles_);
    json.EndArray();
  }
  json.EndObject();
  return json.Take();
}

std::string CapabilityStatement(FhirRelease release, std::string_view version, Instant now) {
  JsonWriter json;
  json.BeginObject();
  json.Member("resourceType", "CapabilityStatement");
  json.Member("status", "active");
  json.Member("date", FormatInstant(now));
  json.Member("kind", "instance");
  json.Name("software");
  json.BeginObject();
  json.Member("name", "dwelld");
  json.Member("version", version);
  json.EndObject();
  json.Name("implementation");
  json.BeginObject();
  json.Member("description", "What is due for vascular lines, as Tasks: a search, nothing else");
  json.EndObject();
  json.Member("fhirVersion", FhirVersion(release));
  json.Name("format");
  json.BeginArray();
  json.String("application/fhir+json");
  json.EndArray();
  json.Name("rest");
  json.BeginArray();
  json.BeginObject();
  json.Member("mode", "server");
  json.Name("resource");
  json.BeginArray();
  json.BeginObject();
  json.Member("type", "Task");
  json.Name("interaction");
  json.BeginArray();
  json.BeginObject();
  json.Member("code", "search-type");
  json.EndObject();
  json.EndArray();
  json.Name("searchParam");
  json.BeginArray();
  for (const Parameter& parameter : Parameters()) {
    json.BeginObject();
    json.Member("name", parameter.name);
    if (!parameter.definition.empty()) json.Member("definition", parameter.definition);
    json.Member("type", parameter.type);
    if (!parameter.documentation.empty()) json.Member("documentation", parameter.documentation);
    json.EndObject();
  }
  json.EndArray();
  json.EndObject();
  json.EndArray();
  json.EndObject();
  json.EndArray();
  json.EndObject();
  return json.Take();
}

}  // namespace dwell::search
