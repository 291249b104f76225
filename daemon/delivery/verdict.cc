#include "daemon/delivery/verdict.h"

#include <algorithm>
#include <array>

#include "daemon/base/limits.h"
#include "daemon/delivery/bundle_shape.h"
#include "daemon/delivery/retry_after.h"

namespace dwell::delivery {
namespace {

using net::Exchange;
using net::Failure;
using net::Written;

/// What a status means. RFC 9110 section 15, RFC 6585, RFC 8470; FHIR R4 http.html#transaction.
struct Row {
  int first, last;
  Course with_outcome;  ///< the body is an OperationOutcome: the FHIR server itself speaks
  Course without;       ///< perhaps a proxy or a sign-in page before it
  bool uncertain;
  std::uint32_t attempts_max;  ///< for kAgain: held after so many; 0: no limit
  const char* why;
};

constexpr Course kAgain = Course::kAgain;
constexpr Course kHold = Course::kHold;
constexpr Course kPause = Course::kPause;

// The first row that fits counts.
constexpr std::array kRows = {
    Row{100, 199, kPause, kPause, true, 0, "switches protocols, which nobody asked for"},
    Row{300, 399, kPause, kPause, false, 0,
        "redirects; put the new address into the configuration"},
    Row{401, 401, kPause, kPause, false, 0, "does not accept our credentials"},
    Row{403, 403, kHold, kPause, false, 0, "forbids it"},
    Row{404, 404, kHold, kPause, false, 0, "says not found; is the base URL right?"},
    Row{405, 406, kPause, kPause, false, 0, "takes no transactions at this URL"},
    Row{407, 407, kPause, kPause, false, 0, "is behind a proxy that wants credentials"},
    Row{408, 408, kAgain, kAgain, true, 0, "waited too long for the request"},
    Row{409, 409, kAgain, kAgain, false, limits::kConflictAttemptsMax, "reports a conflict"},
    Row{412, 412, kAgain, kAgain, false, limits::kConflictAttemptsMax,
        "says a condition does not hold"},
    Row{413, 413, kHold, kHold, false, 0, "says the bundle is too large; it cannot be split"},
    Row{415, 415, kPause, kPause, false, 0, "does not take application/fhir+json"},
    Row{421, 421, kPause, kPause, false, 0, "says we reached the wrong server"},
    Row{425, 425, kAgain, kAgain, false, 0, "says it is too early"},
    Row{429, 429, kAgain, kAgain, false, 0, "says there are too many requests"},
    Row{400, 499, kHold, kHold, false, 0, "refused it"},
    Row{501, 501, kPause, kPause, false, 0, "takes no transactions"},
    Row{502, 502, kAgain, kAgain, true, 0, "could not be reached behind its gateway"},
    Row{503, 503, kAgain, kAgain, false, 0, "is unavailable"},
    Row{504, 504, kAgain, kAgain, true, 0, "did not answer its gateway in time"},
    Row{500, 599, kAgain, kAgain, false, limits::kFaultAttemptsMax, "failed"},
};

/// No complete answer.
Verdict JudgeFailure(const Exchange& exchange) {
  Verdict verdict;
  verdict.why = exchange.error;
  const bool is_unreached =
      exchange.failure == Failure::kConnect || exchange.failure == Failure::kTls;
  if (is_unreached || exchange.written == Written::kNone) {
    verdict.course = Course::kPause;
    verdict.untouched = true;
    verdict.pauses = true;
    return verdict;
  }
  verdict.course = Course::kAgain;
  verdict.uncertain = true;
  return verdict;
}

Verdict JudgeStatus(int status, const Exchange& exchange, const Sent& sent, Instant now,
                    std::string prefix) {
  const auto row = std::find_if(kRows.begin(), kRows.end(), [status](const Row& candidate) {
    return candidate.first <= status && status <= candidate.last;
  });
  Verdict verdict;
  verdict.status = status;
  prefix += "the endpoint answered " + std::to_string(status);
  if (row == kRows.end()) {  // 6xx and the like
    verdict.course = Course::kHold;
    verdict.why = prefix + ", which is no HTTP status";
    return verdict;
  }
  const bool has_outcome = IsJson(exchange.content_type) && IsOperationOutcome(exchange.body);
  verdict.course = has_outcome ? row->with_outcome : row->without;
  verdict.uncertain = row->uncertain;
  verdict.why = prefix + ": it " + row->why;
  if (verdict.course == Course::kAgain && row->attempts_max != 0 &&
      sent.attempts + 1 >= row->attempts_max) {
    verdict.course = Course::kHold;
    verdict.why += ", " + std::to_string(row->attempts_max) + " times";
  }
  if (verdict.course == Course::kHold) {
    verdict.outcome =
        Excerpt(exchange.body, has_outcome ? limits::kOutcomeBytesMax : limits::kExcerptBytesMax);
  } else {
    verdict.retry_after = ReadRetryAfter(exchange.retry_after, exchange.date, now);
    // RFC 6585 section 4, RFC 9110 section 15.6.4: these speak of all our requests.
    const bool is_for_all = status == 429 || status == 503;
    verdict.pauses =
        verdict.course == Course::kPause || (is_for_all && verdict.retry_after.has_value());
  }
  return verdict;
}

/// 2xx: done only when everything says so.
Verdict JudgeSuccess(const Exchange& exchange, const Sent& sent, Instant now) {
  const std::string answered = "the endpoint answered " + std::to_string(exchange.status);
  const bool is_json = IsJson(exchange.content_type);
  const Answered answer = is_json ? ReadAnswer(exchange.body) : Answered();
  const bool is_response = answer.shape == Answered::Shape::kResponse;
  if (exchange.status == 200 && is_response && answer.entries == sent.entries) {
    if (answer.bad_entry == 0) return {};
    return JudgeStatus(answer.bad_status, exchange, sent, now,
                       "entry " + std::to_string(answer.bad_entry) + ": ");
  }
  Verdict verdict;
  verdict.status = exchange.status;
  verdict.uncertain = true;
  if (exchange.status == 200 && answer.shape == Answered::Shape::kNotJson) {
    // A proxy or sign-in page, or an answer cut off on its way: it may be right the next time.
    verdict.course = Course::kAgain;
    verdict.why = answered + (is_json ? " without legal JSON" : " without FHIR JSON");
    return verdict;
  }
  verdict.course = Course::kHold;
  verdict.outcome = Excerpt(exchange.body, limits::kExcerptBytesMax);
  if (is_response && answer.entries != sent.entries) {
    verdict.why = answered + " for " + std::to_string(answer.entries) + " entries instead of " +
                  std::to_string(sent.entries);
  } else {
    verdict.why = answered + ", which does not say what became of the transaction";
  }
  return verdict;
}

}  // namespace

Verdict Judge(const Exchange& exchange, const Sent& sent, Instant now) {
  if (exchange.failure != Failure::kNone) return JudgeFailure(exchange);
  if (exchange.status / 100 == 2) return JudgeSuccess(exchange, sent, now);
  return JudgeStatus(exchange.status, exchange, sent, now, "");
}

bool IsJson(std::string_view content_type) {
  std::string media(content_type.substr(0, content_type.find(';')));
  while (!media.empty() && media.back() == ' ') media.pop_back();
  std::transform(media.begin(), media.end(), media.begin(), [](char c) {
    return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
  });
  return media == "application/fhir+json" || media == "application/json";
}

std::string Excerpt(std::string_view text, std::size_t bytes_max) {
  std::size_t size = std::min(text.size(), bytes_max);
  const auto is_inside = [&](std::size_t at) {
    return at < text.size() && (static_cast<unsigned char>(text[at]) & 0xC0U) == 0x80U;
  };
  while (size > 0 && is_inside(size)) --size;
  std::string excerpt(text.substr(0, size));
  std::replace_if(
      excerpt.begin(), excerpt.end(),
      [](char c) { return static_cast<unsigned char>(c) < 0x20 || c == 0x7F; }, ' ');
  return excerpt;
}

}  // namespace dwell::delivery
