#include "daemon/ledger/summary.h"

#include <algorithm>
#include <iterator>
#include <string_view>
#include <variant>

#include "schemas/base/check.h"
#include "schemas/json/document.h"
#include "schemas/json/writer.h"

namespace dwell::ledger {
namespace {

using schemas::JsonWriter;

std::string_view PhaseName(line::Phase phase) {
  switch (phase) {
    case line::Phase::kUnknown:
      return "unknown";
    case line::Phase::kNotPlaced:
      return "not-placed";
    case line::Phase::kInPlace:
      return "in-place";
    case line::Phase::kRemoved:
      return "removed";
  }
  CHECK(false && "a phase without a name");
  return {};
}

bool IsOpen(const due::Due& due) {
  return due.stage == due::Stage::kNotYetDue || due.stage == due::Stage::kDueSoon ||
         due.stage == due::Stage::kDue || due.stage == due::Stage::kOverdue;
}

void WriteInstantOf(JsonWriter& json, std::string_view name, const line::Entry* entry) {
  json.Name(name);
  if (entry == nullptr) {
    json.Null();
  } else {
    json.String(FormatInstant(entry->event->happened.instant));
  }
}

const line::Entry* LastCheck(const line::Line& line) {
  const auto found =
      std::find_if(line.entries.rbegin(), line.entries.rend(), [](const line::Entry& entry) {
        return entry.standing == line::Standing::kInForce &&
               entry.event->kind() == event::Kind::kSiteCheck;
      });
  return found == line.entries.rend() ? nullptr : &*found;
}

void WriteInsertion(JsonWriter& json, const line::Line& line) {
  const line::Entry* placed = line.insertion();
  const auto* insertion =
      placed == nullptr ? nullptr : std::get_if<event::Insertion>(&placed->event->body);
  json.Name("kind");
  if (insertion != nullptr && insertion->line) {
    json.String(insertion->line->kind);
  } else {
    json.Null();
  }
  json.Name("site");
  if (insertion != nullptr && insertion->site) {
    json.BeginObject();
    json.Member("place", insertion->site->place);
    json.Member("side", insertion->site->side);
    json.EndObject();
  } else {
    json.Null();
  }
  WriteInstantOf(json, "since", placed);
  if (insertion != nullptr) json.MemberBool("emergency", insertion->emergency);
}

void WriteLastCheck(JsonWriter& json, const line::Line& line) {
  const line::Entry* check = LastCheck(line);
  WriteInstantOf(json, "last_check", check);
  json.Name("last_grade");
  const auto* seen =
      check == nullptr ? nullptr : std::get_if<event::SiteCheck>(&check->event->body);
  if (seen == nullptr || !seen->grade) return json.Null();
  json.Integer(seen->grade->value);
  json.Member("last_grade_scale", seen->grade->scale);
}

void WriteDues(JsonWriter& json, const std::vector<due::Due>& dues) {
  std::vector<const due::Due*> open;
  for (const due::Due& due : dues) {
    if (IsOpen(due) && !due.only_if_issued) open.push_back(&due);
  }
  std::stable_sort(open.begin(), open.end(), [](const due::Due* left, const due::Due* right) {
    return left->due_at < right->due_at;
  });
  json.Name("dues");
  json.BeginArray();
  for (const due::Due* due : open) {
    json.BeginObject();
    json.Member("rule", due::RuleCode(due->rule));
    json.Member("stage", due::StageCode(due->stage));
    json.Member("from", FormatInstant(due->from));
    json.Member("due_at", FormatInstant(due->due_at));
    json.Member("priority", due::PriorityCode(due->priority));
    if (!due->reason.empty()) json.Member("reason", due->reason);
    if (due->forgotten_from) json.Member("forgotten_from", FormatInstant(*due->forgotten_from));
    json.EndObject();
  }
  json.EndArray();
}

std::string TextIn(std::string_view summary, std::string_view name) {
  const auto document = schemas::Document::Parse(summary);
  const auto found =
      document && document->root().is_object() ? document->root().Find(name) : std::nullopt;
  return found && found->is_string() ? std::string(found->AsString()) : std::string();
}

}  // namespace

std::string LineSummary(const line::Line& line, const std::vector<due::Due>& dues) {
  JsonWriter json;
  json.BeginObject();
  json.Member("source", line.key.source);
  json.Member("line_id", line.key.line_id);
  json.Name("patient");
  json.BeginObject();
  json.Member("system", line.patient.system);
  json.Member("value", line.patient.value);
  json.EndObject();
  json.Member("phase", line.is_taken_back() ? "taken-back" : PhaseName(line.phase));
  json.Member("ward", line.place().ward);
  json.Member("bay", line.place().bay);
  json.Member("bed", line.place().bed);
  WriteInsertion(json, line);
  WriteInstantOf(json, "removed_at", line.removal());
  WriteLastCheck(json, line);
  WriteDues(json, dues);
  json.EndObject();
  return json.Take();
}

std::string WardIn(std::string_view summary) { return TextIn(summary, "ward"); }

bool HasDues(std::string_view summary) {
  const auto document = schemas::Document::Parse(summary);
  const auto dues =
      document && document->root().is_object() ? document->root().Find("dues") : std::nullopt;
  return !dues || !dues->is_array() || dues->size() > 0;
}

bool IsMeant(const store::LineRecord& line, std::string_view source, std::string_view line_id,
             std::string_view ward) {
  return (source.empty() || source == line.key.source) &&
         (line_id.empty() || line_id == line.key.line_id) &&
         (ward.empty() || ward == WardIn(line.summary));
}

bool MayGoOn(const store::LineRecord& line) {
  if (line.no_longer_kept_since) return false;
  if (line.next_change) return true;
  const std::string phase = TextIn(line.summary, "phase");
  return phase != PhaseName(line::Phase::kRemoved) && phase != PhaseName(line::Phase::kNotPlaced);
}

}  // namespace dwell::ledger
