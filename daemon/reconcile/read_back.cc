#include "daemon/reconcile/read_back.h"

#include <algorithm>
#include <array>
#include <utility>

#include "daemon/base/limits.h"
#include "daemon/delivery/http_date.h"
#include "daemon/delivery/match.h"
#include "daemon/delivery/retry_after.h"
#include "daemon/delivery/verdict.h"
#include "daemon/reconcile/references.h"
#include "schemas/base/check.h"
#include "schemas/json/write_value.h"

namespace dwell::reconcile {
namespace {

using Course = ReadBack::Course;
using net::Exchange;
using net::Failure;

constexpr schemas::ParseLimits kResourceLimits{.bytes_max = limits::kResponseBytesMax};

/// What a status means; the first row that fits counts. RFC 9110 section 15, RFC 6585.
struct Row {
  int first, last;
  Course course;
  const char* why;
};
constexpr std::array kRows = {
    Row{401, 401, Course::kPause, "does not accept our credentials"},
    Row{kStatusForbidden, kStatusForbidden, Course::kUnreadable, "forbids us to read it"},
    Row{404, 404, Course::kUnreadable, "is not found there; is the base URL right?"},
    Row{407, 407, Course::kPause, "is behind a proxy that wants credentials"},
    Row{408, 408, Course::kAgain, "waited too long for the request"},
    Row{410, 410, Course::kMissing, "says that it was deleted"},
    Row{425, 425, Course::kAgain, "says it is too early"},
    Row{429, 429, Course::kPause, "says there are too many requests"},
    Row{503, 503, Course::kPause, "is unavailable"},
    Row{500, 599, Course::kAgain, "failed"},
    Row{300, 399, Course::kUnreadable, "redirects; redirects are not followed"},
    Row{100, 999, Course::kUnreadable, "gives no resource"},
};

ReadBack JudgeFailure(const Exchange& exchange) {
  ReadBack back;
  back.why = exchange.error;
  switch (exchange.failure) {
    case Failure::kConnect:
    case Failure::kTls:
      back.course = Course::kPause;
      break;
    case Failure::kTooLarge:
      back.course = Course::kUnreadable;
      break;
    default:  // a read changes nothing, so nothing of it is uncertain
      back.course = Course::kAgain;
  }
  return back;
}

/// How long before the answer the resource was changed, put on our clock.
std::optional<Instant> ChangedAt(const Exchange& exchange, schemas::Value resource, Instant now) {
  const auto meta = resource.Find("meta");
  const auto changed = meta ? ReadMoment(TextIn(*meta, "lastUpdated")) : std::nullopt;
  const auto there = delivery::ReadHttpDate(exchange.date, now);
  if (!changed || !there) return std::nullopt;
  return now - (*there - changed->instant);
}

/// Empty, with `back` filled in: a page of something before it, or cut off on its way.
std::optional<schemas::Document> ReadJson(const Exchange& exchange, ReadBack& back) {
  back.status = exchange.status;
  auto document = schemas::Document::Parse(exchange.body, kResourceLimits);
  if (delivery::IsJson(exchange.content_type) && document && document->root().is_object()) {
    return std::move(*document);
  }
  back.course = Course::kAgain;
  back.why = "the endpoint answered 200 without FHIR JSON";
  return std::nullopt;
}

ReadBack JudgeBody(const Exchange& exchange, std::string_view type, std::string_view id,
                   Instant now) {
  ReadBack back;
  auto document = ReadJson(exchange, back);
  if (!document) return back;
  const bool is_it =
      TextIn(document->root(), "resourceType") == type && TextIn(document->root(), "id") == id;
  if (!is_it) {
    back.why = "the endpoint answered 200 with something else";
    return back;
  }
  back.course = Course::kHeld;
  back.changed_at = ChangedAt(exchange, document->root(), now);
  back.resource = std::move(*document);
  return back;
}

schemas::Document CopyOf(schemas::Value value) {
  schemas::JsonWriter json;
  schemas::WriteValue(json, value);
  auto copy = schemas::Document::Parse(json.Take(), kResourceLimits);
  CHECK(copy.has_value());  // it was read out of a document
  return std::move(*copy);
}

ReadBack JudgeResult(const Exchange& exchange, std::string_view search, Instant now) {
  using delivery::Finding;
  ReadBack back;
  const auto document = ReadJson(exchange, back);
  if (!document) return back;
  const delivery::Counted counted = delivery::CountFound(document->root(), search);
  switch (counted.finding) {
    case Finding::kOne:
      back.course = Course::kHeld;
      back.changed_at = ChangedAt(exchange, *counted.resource, now);
      back.resource = CopyOf(*counted.resource);
      return back;
    case Finding::kNone:
      back.course = Course::kMissing;
      back.why = "the endpoint's own search finds none with our identifier";
      return back;
    case Finding::kSeveral:
      back.course = Course::kSeveral;
      back.why =
          "the endpoint's own search finds more than one with our identifier: nothing is sent; "
          "whoever runs the record decides which of them stays";
      return back;
    case Finding::kPartial:
      back.course = Course::kAgain;
      break;
    default:
      break;
  }
  back.why = "the endpoint's answer to the search for our identifier cannot be relied on";
  return back;
}

bool IsFhirJson(const Exchange& exchange) {
  const auto document = delivery::IsJson(exchange.content_type)
                            ? schemas::Document::Parse(exchange.body, kResourceLimits)
                            : schemas::Document::Parse("");
  return document && TextIn(document->root(), "resourceType") == "OperationOutcome";
}

}  // namespace

/// Any answer but 200.
static ReadBack JudgeStatus(const Exchange& exchange, Instant now) {
  ReadBack back;
  back.status = exchange.status;
  const std::string answered = "the endpoint answered " + std::to_string(exchange.status);
  const auto* const row = std::ranges::find_if(kRows, [&](const Row& candidate) {
    return candidate.first <= exchange.status && exchange.status <= candidate.last;
  });
  if (row == kRows.end()) {
    back.why = answered + ", which is no HTTP status";
    return back;
  }
  back.course = row->course;
  back.why = answered + ": it " + row->why;
  if (back.course == Course::kPause) {
    back.retry_after = delivery::ReadRetryAfter(exchange.retry_after, exchange.date, now);
  }
  return back;
}

ReadBack JudgeRead(const Exchange& exchange, std::string_view type, std::string_view id,
                   Instant now) {
  if (exchange.failure != Failure::kNone) return JudgeFailure(exchange);
  if (exchange.status == 200) return JudgeBody(exchange, type, id, now);
  if (exchange.status != 404 || !IsFhirJson(exchange)) return JudgeStatus(exchange, now);
  ReadBack back;
  back.status = exchange.status;
  back.course = Course::kMissing;
  back.why = "the endpoint answered 404: it does not hold it";
  return back;
}

ReadBack JudgeFind(const Exchange& exchange, std::string_view search, Instant now) {
  if (exchange.failure != Failure::kNone) return JudgeFailure(exchange);
  if (exchange.status == 200) return JudgeResult(exchange, search, now);
  ReadBack back = JudgeStatus(exchange, now);
  // A search finds none or some; that there is nothing to search is no answer to it.
  if (back.course == Course::kMissing) back.course = Course::kUnreadable;
  return back;
}

}  // namespace dwell::reconcile
