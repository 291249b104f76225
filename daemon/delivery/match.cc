#include "daemon/delivery/match.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <optional>

#include "daemon/base/limits.h"
#include "daemon/delivery/bundle_shape.h"
#include "mapping/fhir/elements.h"
#include "mapping/fhir/references.h"

namespace dwell::delivery {
namespace {

using schemas::Document;
using schemas::Value;

struct Row {
  Finding finding;
  Course course;
  const char* why;
};

constexpr std::array kRows = {
    Row{Finding::kNone, Course::kWait, "the endpoint knows none of that identifier yet"},
    Row{Finding::kSeveral, Course::kHold, "more than one has that identifier; none was chosen"},
    Row{Finding::kIgnored, Course::kHold,
        "the endpoint ignored the search: a match lacks the identifier that was asked for"},
    Row{Finding::kDisagrees, Course::kHold, "the answer's total and its entries disagree"},
    Row{Finding::kReplaced, Course::kHold, "it was merged into another (link replaced-by)"},
    Row{Finding::kInactive, Course::kHold, "it is no longer active"},
    Row{Finding::kEnteredWrong, Course::kHold, "it was entered in error"},
    Row{Finding::kPartial, Course::kAgain, "the endpoint reports an error beside what it found"},
    Row{Finding::kUnclear, Course::kHold, "the answer has no usable id or total"},
    Row{Finding::kOther, Course::kHold, "the answer is no search result"},
    Row{Finding::kNotJson, Course::kAgain, "the answer is no FHIR JSON"},
};

/// What is asked for of each type: what the verdict needs, no more of the patient.
struct Elements {
  std::string_view type, names;
};
constexpr std::array kElements = {
    Elements{"Patient", "identifier,active,link"},
    Elements{"Encounter", "identifier,status,subject"},
};

/// Refusals of a transaction whose reason may be the target of a reference: servers of different
/// make say "does not exist", "was deleted" or "is not valid" with any of these.
constexpr std::array kBlaming = {400, 404, 409, 410, 412, 422};

std::string_view TypeOf(std::string_view search) { return search.substr(0, search.find('?')); }

std::string_view Text(const std::optional<Value>& object, std::string_view member) {
  const auto value = object && object->is_object() ? object->Find(member) : std::nullopt;
  return value && value->is_string() ? value->AsString() : std::string_view();
}

/// The elements of an array member; nothing when it is absent or no array.
template <class Each>
bool Any(const Value& object, std::string_view member, Each is_so) {
  const auto array = object.Find(member);
  return array && array->is_array() && std::any_of(array->begin(), array->end(), is_so);
}

/// R4 datatypes.html#id. The id goes into JSON and names a patient, so nothing else may be in it.
bool IsId(std::string_view id) {
  return !id.empty() && id.size() <= 64 && std::all_of(id.begin(), id.end(), [](char c) {
    return (c >= '0' && c <= '9') || (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '-' ||
           c == '.';
  });
}

/// Whether it is what was asked for: written as a search, one of its identifiers, or of its tags,
/// gives the same search.
bool Carries(const Value& resource, std::string_view search) {
  const std::string_view type = TypeOf(search);
  if (!Says(resource, "resourceType", type)) return false;
  const std::string by_tag = std::string(type) + "?_tag=";
  if (search.starts_with(by_tag)) {
    const auto meta = resource.Find("meta");
    return meta && meta->is_object() && Any(*meta, "tag", [&](const Value& tag) {
             return by_tag + fhir::EncodeSegment(Text(tag, "system")) + "%7C" +
                        fhir::EncodeSegment(Text(tag, "code")) ==
                    search;
           });
  }
  return Any(resource, "identifier", [&](const Value& identifier) {
    return fhir::ConditionalReference(type, Text(identifier, "system"),
                                      Text(identifier, "value")) == search;
  });
}

/// "Patient/17" out of what a reference may hold: relative, absolute, with a version.
std::string SubjectOf(const Value& encounter) {
  constexpr std::string_view kType = "Patient/";
  std::string_view reference = Text(encounter.Find("subject"), "reference");
  const std::size_t at = reference.rfind(kType);
  if (at == std::string_view::npos || (at > 0 && reference[at - 1] != '/')) return {};
  reference.remove_prefix(at);
  return std::string(reference.substr(0, reference.find('/', kType.size())));
}

struct Entries {
  std::vector<Value> matches;  ///< entries that are not said to be anything else
  bool has_error = false;      ///< an OperationOutcome of severity error or fatal
};

/// search.mode is optional (R4 bundle.html): an entry without counts as a match, so that it is seen
/// when there are several; whether it is the right one is decided by its identifier.
Entries ReadEntries(const Value& bundle) {
  Entries entries;
  const auto array = bundle.Find("entry");
  if (!array || !array->is_array()) return entries;
  for (const Value entry : *array) {
    const auto search = entry.is_object() ? entry.Find("search") : std::nullopt;
    const auto resource = entry.is_object() ? entry.Find("resource") : std::nullopt;
    const std::string_view mode = Text(search, "mode");
    if (mode == "include") continue;
    if (mode != "outcome" && Text(resource, "resourceType") != "OperationOutcome") {
      entries.matches.push_back(resource && resource->is_object() ? *resource : entry);
      continue;
    }
    entries.has_error =
        entries.has_error ||
        (resource && resource->is_object() && Any(*resource, "issue", [](const Value& issue) {
           const std::string_view severity = Text(issue, "severity");
           return severity == "error" || severity == "fatal";
         }));
  }
  return entries;
}

/// Bundle.total; nothing when it is absent, which R4 allows. -1: no count.
std::optional<int> ReadTotal(const Value& bundle) {
  const auto total = bundle.Find("total");
  if (!total) return std::nullopt;
  if (!total->is_number()) return -1;
  const std::string_view text = total->NumberText();
  int number = -1;
  const auto [stop, error] = std::from_chars(text.data(), text.data() + text.size(), number);
  return error == std::errc() && stop == text.data() + text.size() && number >= 0 ? number : -1;
}

/// How many there are, before looking at the one.
Finding CountMatches(const Value& bundle, const Entries& entries, std::string_view search) {
  const auto& matches = entries.matches;
  const bool is_asked = std::all_of(matches.begin(), matches.end(), [&](const Value& resource) {
    return resource.is_object() && Carries(resource, search);
  });
  if (!is_asked) return Finding::kIgnored;
  const std::optional<int> total = ReadTotal(bundle);
  if (total == -1) return Finding::kUnclear;
  const bool has_next =
      Any(bundle, "link", [](const Value& link) { return Text(link, "relation") == "next"; });
  if (matches.size() > 1) return Finding::kSeveral;
  if (matches.empty() && (has_next || total.value_or(0) != 0)) return Finding::kDisagrees;
  if (has_next || total.value_or(0) > 1) return Finding::kSeveral;
  if (!matches.empty() && total == 0) return Finding::kDisagrees;
  if (entries.has_error) return Finding::kPartial;
  return matches.empty() ? Finding::kNone : Finding::kOne;
}

/// Whether the one is still in force. What became of a resource of ours is no matter here.
Finding Inspect(const Value& resource) {
  if (!IsId(Text(resource, "id"))) return Finding::kUnclear;
  const auto is_replaced = [](const Value& link) { return Text(link, "type") == "replaced-by"; };
  if (Any(resource, "link", is_replaced)) return Finding::kReplaced;
  const auto active = resource.Find("active");
  if (active && !(active->is_bool() && active->AsBool())) return Finding::kInactive;
  const bool is_wrong =
      Says(resource, "resourceType", "Encounter") && Says(resource, "status", "entered-in-error");
  if (is_wrong) return Finding::kEnteredWrong;
  return Finding::kOne;
}

}  // namespace

Counted CountFound(Value answer, std::string_view search) {
  const bool is_searchset = answer.is_object() && Says(answer, "resourceType", "Bundle") &&
                            Says(answer, "type", "searchset");
  if (!is_searchset) return {};
  const Entries entries = ReadEntries(answer);
  Counted counted;
  counted.finding = CountMatches(answer, entries, search);
  if (counted.finding == Finding::kOne) counted.resource = entries.matches.front();
  return counted;
}

Match ReadMatch(std::string_view body, std::string_view search) {
  const auto document = Document::Parse(body, kAnswerLimits);
  if (!document) return {Finding::kNotJson, {}};
  const Counted counted = CountFound(document->root(), search);
  Match match;
  match.finding = counted.finding;
  if (match.finding != Finding::kOne) return match;
  const Value& resource = *counted.resource;
  match.finding = Inspect(resource);
  if (match.finding != Finding::kOne) return match;
  match.found.literal.append(TypeOf(search)).append("/").append(Text(resource, "id"));
  match.found.subject = SubjectOf(resource);
  return match;
}

std::string SearchTarget(std::string_view base, std::string_view search) {
  std::string target(base);
  if (target.empty() || target.back() != '/') target += '/';
  target.append(search).append("&_count=2");  // more than one is all that we need to know
  for (const Elements& elements : kElements) {
    if (elements.type == TypeOf(search)) target.append("&_elements=").append(elements.names);
  }
  return target;
}

Result<Found, Verdict> JudgeSearch(const net::Exchange& exchange, std::string_view search,
                                   const Sent& sent, Instant now) {
  const std::string prefix = "the search for the " + std::string(TypeOf(search)) + ": ";
  if (exchange.failure != net::Failure::kNone || exchange.status / 100 != 2) {
    Verdict verdict = Judge(exchange, sent, now);
    verdict.uncertain = false;
    verdict.why =
        prefix + (verdict.status == 0 ? verdict.why
                                      : "the endpoint answered " + std::to_string(verdict.status));
    return verdict;
  }
  const bool is_whole = exchange.status == 200 && !exchange.body.empty();
  Match match;
  if (IsJson(exchange.content_type) && is_whole) match = ReadMatch(exchange.body, search);
  if (match.finding == Finding::kOne) return std::move(match.found);

  const auto* const row = std::find_if(
      kRows.begin(), kRows.end(), [&](const Row& each) { return each.finding == match.finding; });
  Verdict verdict;
  verdict.course = row->course;
  verdict.status = exchange.status;
  verdict.why = prefix + row->why;
  if (verdict.course == Course::kWait && sent.age >= limits::kUnknownTargetTimeMax) {
    verdict.course = Course::kHold;
    verdict.why += ", and it was waited for long enough";
  }
  // What was found is somebody's record and is not kept; only what is no search result is.
  if (match.finding == Finding::kOther) {
    verdict.outcome = Excerpt(exchange.body, limits::kExcerptBytesMax);
  }
  return verdict;
}

bool ContradictEachOther(const std::vector<Found>& found) {
  const bool has_patient = std::any_of(found.begin(), found.end(), [](const Found& one) {
    return one.literal.starts_with("Patient/");
  });
  return has_patient && std::any_of(found.begin(), found.end(), [&](const Found& one) {
           return !one.subject.empty() &&
                  std::none_of(found.begin(), found.end(),
                               [&](const Found& other) { return other.literal == one.subject; });
         });
}

Verdict Contradiction() {
  Verdict verdict;
  verdict.course = Course::kHold;
  verdict.why = "at the endpoint the encounter belongs to another patient";
  return verdict;
}

bool MayBlameAnId(const Verdict& verdict) {
  return std::find(kBlaming.begin(), kBlaming.end(), verdict.status) != kBlaming.end();
}

}  // namespace dwell::delivery
