#include "tests/sim/peer.h"

#include <array>
#include <charconv>

#include "schemas/json/document.h"

namespace dwell::sim {
namespace {

using net::Exchange;
using net::Failure;
using net::Written;
using schemas::Value;

struct Row {
  Mood mood;
  const char* name;
  Failure failure;
  Written written;
  int status;
  const char* content_type;
  bool takes;
  bool names_wait;
};
constexpr std::array<Row, kMoods> kRows{{
    {Mood::kWell, "well", Failure::kNone, Written::kAll, 200, "application/fhir+json", true, false},
    {Mood::kUnreachable, "unreachable", Failure::kConnect, Written::kNone, 0, "", false, false},
    {Mood::kUnavailable, "503", Failure::kNone, Written::kAll, 503, "text/plain", false, false},
    {Mood::kUnavailableUntil, "503 with a time", Failure::kNone, Written::kAll, 503, "text/plain",
     false, true},
    {Mood::kTooMany, "429 with a time", Failure::kNone, Written::kAll, 429, "text/plain", false,
     true},
    {Mood::kTakesSilently, "takes and does not answer", Failure::kTimeOut, Written::kAll, 0, "",
     true, false},
    {Mood::kBreaksOff, "breaks off", Failure::kBroken, Written::kSome, 0, "", false, false},
    {Mood::kSignInPage, "sign-in page", Failure::kNone, Written::kAll, 200, "text/html", false,
     false},
    {Mood::kFails, "500", Failure::kNone, Written::kAll, 500, "application/fhir+json", false,
     false},
    {Mood::kConflict, "409", Failure::kNone, Written::kAll, 409, "application/fhir+json", false,
     false},
    {Mood::kForbids, "401", Failure::kNone, Written::kAll, 401, "text/plain", false, false},
    {Mood::kHalfAnswer, "half an answer", Failure::kNone, Written::kAll, 200,
     "application/fhir+json", true, false},
}};

const Row& RowOf(Mood mood) { return kRows.at(static_cast<std::size_t>(mood)); }

std::string Refusal() {
  return std::string(R"({"resourceType":"OperationOutcome","issue":[{"severity":"error",)") +
         R"("code":"processing","diagnostics":")" + Peer::kSecret + R"("}]})";
}

std::string Response(std::uint32_t entries) {
  std::string text = R"({"resourceType":"Bundle","type":"transaction-response","entry":[)";
  for (std::uint32_t i = 0; i < entries; ++i) {
    if (i > 0) text += ',';
    text += R"({"response":{"status":"200 OK"}})";
  }
  return text + "]}";
}

std::string Text(Value object, std::string_view name) {
  const auto member = object.Find(name);
  return member && member->is_string() ? std::string(member->AsString()) : std::string();
}

std::optional<Value> Path(Value value, std::initializer_list<const char*> names) {
  std::optional<Value> at = value;
  for (const char* name : names) {
    if (at && at->is_array()) at = at->first();
    if (!at || !at->is_object()) return std::nullopt;
    at = at->Find(name);
  }
  return at;
}

bool SpeaksOf(const std::string& body, const std::string& line_id) {
  return body.find("\"" + line_id + "\"") != std::string::npos ||
         body.find("\"" + line_id + "/") != std::string::npos;
}

}  // namespace

const char* MoodName(Mood mood) { return RowOf(mood).name; }

std::int64_t Peer::AskedSeconds(const Exchange& exchange) {
  std::int64_t seconds = 0;
  const std::string& text = exchange.retry_after;
  std::from_chars(text.data(), text.data() + text.size(), seconds);
  return seconds;
}

delivery::Statement Peer::Tell() const {
  delivery::Statement statement;
  statement.is_told = mood_ == Mood::kWell;
  if (!statement.is_told) return statement;
  delivery::TypeCapability type;
  type.type = "Observation";
  type.update_create = takes_ids_;
  type.conditional_update = !takes_ids_;
  statement.capability.emplace();
  statement.capability->is_server = true;
  statement.capability->interactions = {"transaction"};
  statement.capability->types.push_back(type);
  return statement;
}

Exchange Peer::Receive(const store::BundleRecord& bundle, delivery::Identity identity,
                       Instant wall_most) {
  const Row& row = RowOf(mood_);
  Exchange exchange;
  exchange.failure = row.failure;
  exchange.written = row.written;
  exchange.status = row.status;
  exchange.content_type = row.content_type;
  if (row.failure != Failure::kNone) exchange.error = "the connection failed";
  if (row.names_wait) exchange.retry_after = std::to_string(random_.Between(1, 300));
  if (row.status >= 400) exchange.body = Refusal();
  if (mood_ == Mood::kSignInPage) exchange.body = std::string("<html>") + kSecret + "</html>";
  if (row.takes && refused_line_ && SpeaksOf(bundle.body, *refused_line_)) {
    exchange = Exchange();
    exchange.written = Written::kAll;
    exchange.status = 422;
    exchange.content_type = "application/fhir+json";
    exchange.body = Refusal();
    return exchange;
  }
  if (!row.takes) return exchange;
  Take(bundle, identity, wall_most);
  if (mood_ == Mood::kWell) exchange.body = Response(bundle.entries);
  if (mood_ == Mood::kHalfAnswer) exchange.body = Response(bundle.entries).substr(0, 40);
  return exchange;
}

void Peer::Take(const store::BundleRecord& bundle, delivery::Identity identity, Instant wall_most) {
  Taken& taken = taken_[bundle.seq];
  const std::string name = "bundle " + std::to_string(bundle.seq);
  ++taken.times;
  if (taken.times > 1) {
    if (taken.body != bundle.body) findings_.Broken("same bytes", name + " came again otherwise");
  } else {
    taken.body = bundle.body;
    taken.lane = bundle.line_seq;
  }
  // I3: by another identity everything would be new to it, and be there twice.
  if (identity_.value_or(identity) != identity) {
    findings_.Broken("I3 identity", name + " came by another identity than what is there");
  }
  identity_ = identity;
  // I4; a repeat of an older one after a newer one would undo what the newer one said.
  std::int64_t& last = last_of_lane_[bundle.line_seq];
  if (bundle.seq < last) {
    findings_.Broken("I4 order",
                     name + " was taken after " + std::to_string(last) + " of its lane");
  }
  last = std::max(last, bundle.seq);
  Hold(bundle, wall_most);
}

void Peer::Hold(const store::BundleRecord& bundle, Instant wall_most) {
  const auto document = schemas::Document::Parse(bundle.body);
  const auto entries = document ? document->root().Find("entry") : std::nullopt;
  if (!entries || entries->size() != bundle.entries) {
    return findings_.Broken("whole bundles", "bundle " + std::to_string(bundle.seq));
  }
  for (const Value entry : *entries) {
    const auto url = Path(entry, {"request", "url"});
    const auto resource = entry.Find("resource");
    if (!url || !resource) return findings_.Broken("whole bundles", "an entry without a resource");
    const std::string name(url->AsString());
    // I3
    if (const auto identifiers = resource->Find("identifier"); identifiers) {
      for (const Value identifier : *identifiers) {
        // The line's own identifier is on every device that was ever put in under it.
        if (Text(identifier, "system").ends_with("/line")) continue;
        const std::string key = Text(*resource, "resourceType") + " " + Text(identifier, "system") +
                                "|" + Text(identifier, "value");
        const auto [known, is_new] = resource_of_business_key_.emplace(key, name);
        if (!is_new && known->second != name) {
          findings_.Broken("I3 doubled", key + " is " + known->second + " and " + name);
        }
      }
    }
    if (Text(*resource, "resourceType") != "Task") continue;
    TaskSeen& task = tasks_[name];
    task.lane = bundle.line_seq;
    task.status = Text(*resource, "status");
    const auto stage = Path(*resource, {"businessStatus", "coding", "code"});
    task.stage = stage ? std::string(stage->AsString()) : std::string();
    const auto end = Path(*resource, {"restriction", "period", "end"});
    const auto moment = end ? ReadMoment(end->AsString()) : std::nullopt;
    task.due_at = moment ? moment->instant : Instant::min();
    const bool is_told_due = task.stage == "due" || task.stage == "overdue";
    if (is_told_due && task.due_at > wall_most) {
      findings_.Broken("told early", name + " is due at " + FormatInstant(task.due_at));
    }
  }
}

}  // namespace dwell::sim
