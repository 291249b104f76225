#include "tests/endpoint/mood.h"

#include <algorithm>
#include <array>
#include <charconv>

#include "schemas/json/document.h"

namespace practice {
namespace {

using dwell::schemas::Document;
using dwell::schemas::Value;
using Kind = Mood::Kind;

constexpr std::array<std::pair<std::string_view, Kind>, 12> kNames = {{
    {"none", Kind::kNone},
    {"refuse", Kind::kRefuse},
    {"status", Kind::kStatus},
    {"reset-before", Kind::kResetBefore},
    {"reset-after-commit", Kind::kResetAfterCommit},
    {"stall", Kind::kStall},
    {"stall-after-commit", Kind::kStallAfterCommit},
    {"drip", Kind::kDrip},
    {"garbage", Kind::kGarbage},
    {"html-200", Kind::kHtml200},
    {"empty-200", Kind::kEmpty200},
    {"truncate", Kind::kTruncate},
}};

constexpr std::array<std::pair<std::string_view, Searching>, 3> kSearching = {{
    {"honest", Searching::kHonest},
    {"ignores", Searching::kIgnores},
    {"miscounts", Searching::kMiscounts},
}};

constexpr std::array<std::pair<std::string_view, Telling>, 7> kTelling = {{
    {"honest", Telling::kHonest},
    {"missing", Telling::kMissing},
    {"garbage", Telling::kGarbage},
    {"web-page", Telling::kWebPage},
    {"r5", Telling::kR5},
    {"no-transaction", Telling::kNoTransaction},
    {"own-ids", Telling::kOwnIds},
}};

constexpr std::array<std::pair<std::string_view, Taking>, 3> kTaking = {{
    {"transactions", Taking::kTransactions},
    {"batches", Taking::kBatches},
    {"singles", Taking::kSingles},
}};

template <class Number>
void Take(Value object, std::string_view name, Number& into) {
  const auto value = object.Find(name);
  if (!value || !value->is_number()) return;
  const std::string_view text = value->NumberText();
  std::from_chars(text.data(), text.data() + text.size(), into);
}

void Take(Value object, std::string_view name, std::string& into) {
  const auto value = object.Find(name);
  if (value && value->is_string()) into = value->AsString();
}

void Take(Value object, std::string_view name, bool& into) {
  const auto value = object.Find(name);
  if (value && value->is_bool()) into = value->AsBool();
}

}  // namespace

bool ReadMood(std::string_view json, Mood& mood, Manners& manners) {
  const auto document = Document::Parse(json);
  if (!document || !document->root().is_object()) return false;
  const Value root = document->root();
  std::string name = "none";
  Take(root, "mood", name);
  const auto* const known = std::find_if(kNames.begin(), kNames.end(),
                                         [&](const auto& pair) { return pair.first == name; });
  if (known == kNames.end()) return false;
  mood.kind = known->second;
  mood.next = 1;
  Take(root, "next", mood.next);
  Take(root, "containing", mood.containing);
  Take(root, "status", mood.status);
  Take(root, "retry_after", mood.retry_after);
  Take(root, "location", mood.location);
  Take(root, "outcome", mood.outcome);
  Take(root, "limit_entries", manners.entries_max);
  Take(root, "limit_bytes", manners.bytes_max);
  Take(root, "referential", manners.referential);
  Take(root, "latency_ms", manners.latency_ms);
  std::string searching;
  Take(root, "searching", searching);
  for (const auto& [word, way] : kSearching) {
    if (word == searching) manners.searching = way;
  }
  Take(root, "resolving", manners.resolving);
  Take(root, "own_ids", manners.own_ids);
  Take(root, "limits_in_words", manners.limits_in_words);
  std::string taking;
  Take(root, "taking", taking);
  for (const auto& [word, way] : kTaking) {
    if (word == taking) manners.taking = way;
  }
  std::string telling;
  Take(root, "telling", telling);
  for (const auto& [word, way] : kTelling) {
    if (word == telling) manners.telling = way;
  }
  return true;
}

}  // namespace practice
