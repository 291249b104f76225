#include "daemon/delivery/verdict.h"

#include <algorithm>
#include <array>

#include "daemon/base/limits.h"
#include "daemon/delivery/retry_after.h"

namespace dwell::delivery {
namespace {

using net::Exchange;
using net::Failure;
using net::Written;
using Shape = Answered::Shape;

/// What a status means. RFC 9110 section 15, RFC 4918 section 11, RFC 6585, RFC 8470; FHIR R4
/// http.html.
struct Row {
  int first, last;
  Course whole;  ///< the body is an OperationOutcome: the FHIR server itself speaks
  Course page;   ///< it is none: perhaps a proxy or a sign-in page before the server
  Course entry;  ///< as `whole`, but of one resource and not of all that we may send
  bool uncertain;
  std::uint32_t attempts_max;  ///< for kAgain: held after so many; 0: no limit
  const char* why;
};

constexpr Course kAgain = Course::kAgain;
constexpr Course kHold = Course::kHold;
constexpr Course kPause = Course::kPause;

constexpr Row kLoginRow{401,    401,   kPause, kPause,
                        kPause, false, 0,      "does not accept our credentials"};
constexpr Row kTooLargeRow{413, 413, kHold, kHold, kHold, false, 0, "says it is too large"};

// The first row that fits counts.
constexpr std::array kRows = {
    Row{100, 199, kPause, kPause, kHold, true, 0, "switches protocols, which nobody asked for"},
    Row{200, 299, kHold, kHold, kHold, true, 0, "does not say what became of it"},
    Row{300, 399, kPause, kPause, kHold, false, 0,
        "redirects; put the new address into the configuration"},
    kLoginRow,
    Row{403, 403, kHold, kPause, kHold, false, 0, "forbids it"},
    Row{404, 404, kAgain, kPause, kAgain, false, limits::kFaultAttemptsMax,
        "says not found; is the base URL right, and all there that it names?"},
    Row{405, 406, kPause, kPause, kHold, false, 0, "does not take it by this URL and method"},
    Row{407, 407, kPause, kPause, kPause, false, 0, "is behind a proxy that wants credentials"},
    Row{408, 408, kAgain, kAgain, kAgain, true, 0, "waited too long for the request"},
    Row{409, 409, kAgain, kAgain, kAgain, false, limits::kConflictAttemptsMax,
        "reports a conflict"},
    Row{410, 410, kHold, kPause, kHold, false, 0, "says gone"},
    Row{412, 412, kAgain, kAgain, kAgain, false, limits::kConflictAttemptsMax,
        "says a condition does not hold"},
    kTooLargeRow,
    Row{415, 415, kPause, kPause, kHold, false, 0, "does not take application/fhir+json"},
    Row{421, 421, kPause, kPause, kPause, false, 0, "says we reached the wrong server"},
    Row{423, 424, kAgain, kAgain, kAgain, false, limits::kConflictAttemptsMax,
        "could not do it because of something else"},
    Row{425, 425, kAgain, kAgain, kAgain, false, 0, "says it is too early"},
    Row{429, 429, kAgain, kAgain, kAgain, false, 0, "says there are too many requests"},
    Row{431, 431, kPause, kPause, kPause, false, 0, "says the head of our requests is too large"},
    Row{400, 499, kHold, kHold, kHold, false, 0, "refused it"},
    Row{501, 501, kPause, kPause, kHold, false, 0, "cannot do that"},
    Row{502, 502, kAgain, kAgain, kAgain, true, 0, "could not be reached behind its gateway"},
    Row{503, 503, kAgain, kAgain, kAgain, false, 0, "is unavailable"},
    Row{504, 504, kAgain, kAgain, kAgain, true, 0, "did not answer its gateway in time"},
    Row{505, 505, kPause, kPause, kPause, false, 0, "does not speak HTTP/1.1"},
    Row{507, 507, kAgain, kAgain, kAgain, false, 0, "has no room left"},
    Row{511, 511, kPause, kPause, kPause, false, 0, "is behind a network that wants a sign-in"},
    Row{500, 599, kAgain, kAgain, kAgain, false, limits::kFaultAttemptsMax, "failed"},
};

/// Who speaks, about what, in which words.
struct Said {
  int status = 0;
  Course Row::*column = &Row::whole;
  Issue issue = Issue::kNone;
  std::string_view text;
  std::string about;  ///< put before the words
};

/// The row of a status, and what an OperationOutcome's code makes of it.
Row Find(int status, const Said& said) {
  const bool is_4xx = status / 100 == 4;
  if (said.issue == Issue::kLogin && is_4xx) return kLoginRow;
  // Of a busy server the same words speak of the moment, not of the request.
  if (said.issue == Issue::kTooLarge && status != 429 && (is_4xx || status == 500)) {
    return kTooLargeRow;
  }
  const auto* const found = std::ranges::find_if(
      kRows, [status](const Row& row) { return row.first <= status && status <= row.last; });
  if (found == kRows.end()) {  // 6xx and the like
    return {status, status, kHold, kHold, kHold, true, 0, "answers with what is no HTTP status"};
  }
  Row row = *found;
  Course& course = row.*said.column;
  const bool is_bounded = course == kAgain && row.attempts_max != 0;
  if (said.issue == Issue::kMissing && is_4xx && (course == kHold || is_bounded)) {
    course = Course::kWait;
    row.why = "does not have what it refers to";
  }
  if (said.issue == Issue::kTransient && course == kHold) {
    course = kAgain;
    row.attempts_max = limits::kFaultAttemptsMax;
    row.why = "could not take it just then";
  }
  if (said.issue == Issue::kDuplicate) {
    row.uncertain = true;
    row.why = "says that it is there already";
  }
  return row;
}

Verdict JudgeStatus(const Said& said, const Sent& sent) {
  const Row row = Find(said.status, said);
  Verdict verdict;
  verdict.status =
      said.issue == Issue::kLogin && row.first == kLoginRow.first ? kLoginRow.first : said.status;
  verdict.course = row.*said.column;
  verdict.uncertain = row.uncertain;
  verdict.too_large = row.first == kTooLargeRow.first;
  verdict.why =
      said.about + "the endpoint answered " + std::to_string(said.status) + ": it " + row.why;
  if (verdict.course == kAgain && row.attempts_max != 0 && sent.attempts + 1 >= row.attempts_max) {
    verdict.course = kHold;
    verdict.why += ", " + std::to_string(row.attempts_max) + " times";
  }
  if (verdict.course == Course::kWait && sent.age >= limits::kUnknownTargetTimeMax) {
    verdict.course = kHold;
    verdict.why += ", and it was waited for long enough";
  }
  if (verdict.course == kHold) {
    const bool has_outcome = said.issue != Issue::kNone;
    verdict.outcome =
        Excerpt(said.text, has_outcome ? limits::kOutcomeBytesMax : limits::kExcerptBytesMax);
  }
  return verdict;
}

/// No complete answer.
Verdict JudgeFailure(const Exchange& exchange) {
  Verdict verdict;
  verdict.why = exchange.error;
  const bool is_unreached =
      exchange.failure == Failure::kConnect || exchange.failure == Failure::kTls;
  if (is_unreached || exchange.written == Written::kNone) {
    verdict.course = kPause;
    verdict.untouched = true;
    verdict.pauses = true;
    return verdict;
  }
  verdict.course = kAgain;
#if DWELL_PLANTED_BUG != 3  // tests/sim/planted: no answer counts as not arrived
  verdict.uncertain = true;
#endif
  return verdict;
}

/// A complete answer that is no 2xx. `column` for an OperationOutcome.
Verdict JudgeAnswer(const Exchange& exchange, Course Row::*column, const Sent& sent, Instant now) {
  Said said;
  said.status = exchange.status;
  said.text = exchange.body;
  if (IsJson(exchange.content_type)) said.issue = ReadIssue(exchange.body);
  said.column = said.issue == Issue::kNone ? &Row::page : column;
  Verdict verdict = JudgeStatus(said, sent);
  if (verdict.course == kHold) return verdict;
  verdict.retry_after = ReadRetryAfter(exchange.retry_after, exchange.date, now);
  // RFC 6585 section 4, RFC 9110 section 15.6.4: these speak of all our requests.
  const bool is_for_all = verdict.status == 429 || verdict.status == 503;
  verdict.pauses = verdict.course == kPause || (is_for_all && verdict.retry_after.has_value());
  return verdict;
}

/// 2xx that does not say what it should.
Verdict Unclear(const Exchange& exchange, Course course, const std::string& why) {
  Verdict verdict;
  verdict.course = course;
  verdict.status = exchange.status;
  verdict.uncertain = true;
  verdict.why = "the endpoint answered " + std::to_string(exchange.status) + why;
  if (course == kHold) verdict.outcome = Excerpt(exchange.body, limits::kExcerptBytesMax);
  return verdict;
}

/// A proxy or sign-in page, or an answer cut off on its way: it may be right the next time.
Verdict NotJson(const Exchange& exchange) {
  const bool says_json = IsJson(exchange.content_type);
  return Unclear(exchange, kAgain, says_json ? " without legal JSON" : " without FHIR JSON");
}

/// How bad it is for the bundle.
int Weight(Course course) {
  constexpr std::array kOrder = {Course::kDone, Course::kWait, kAgain, kPause, kHold};
  return static_cast<int>(std::ranges::find(kOrder, course) - kOrder.begin());
}

}  // namespace

Answered ReadAnswerOf(const Exchange& exchange) {
  const bool is_read =
      exchange.failure == Failure::kNone && exchange.status == 200 && IsJson(exchange.content_type);
  return is_read ? ReadAnswer(exchange.body) : Answered();
}

Verdict JudgeWhole(const Exchange& exchange, const Answered& answer, Shape shape, const Sent& sent,
                   Instant now) {
  if (exchange.failure != Failure::kNone) return JudgeFailure(exchange);
  if (exchange.status / 100 != 2) return JudgeAnswer(exchange, &Row::whole, sent, now);
#if DWELL_PLANTED_BUG == 4  // tests/sim/planted: a status alone counts as success
  if (exchange.status == 200) return {};
#endif
  if (exchange.status == 200 && answer.shape == Shape::kNotJson) return NotJson(exchange);
  if (answer.shape != shape) {
    return Unclear(exchange, kHold, ", which does not say what became of it");
  }
  if (answer.entries != sent.entries) {
    return Unclear(exchange, kHold,
                   " for " + std::to_string(answer.entries) + " entries instead of " +
                       std::to_string(sent.entries));
  }
  return {};
}

Verdict Judge(const Exchange& exchange, const Sent& sent, Instant now) {
  const Answered answer = ReadAnswerOf(exchange);
  Verdict worst = JudgeWhole(exchange, answer, Shape::kResponse, sent, now);
  if (worst.course != Course::kDone) return worst;
  for (const BadEntry& entry : answer.bad) {
    Verdict verdict = JudgeEntry(entry, sent);
    if (IsWorse(verdict, worst)) worst = std::move(verdict);
  }
  return worst;
}

Verdict JudgeSingle(const Exchange& exchange, std::string_view type, const Sent& sent,
                    Instant now) {
  if (exchange.failure != Failure::kNone) return JudgeFailure(exchange);
  const int status = exchange.status;
  if (status / 100 != 2) return JudgeAnswer(exchange, &Row::entry, sent, now);
  if (!IsTaken(status)) return Unclear(exchange, kHold, ", which does not say what became of it");
  // R4 http.html#update: a version id, or where the resource is. Who is no FHIR server has none.
  const bool has_proof = !exchange.etag.empty() || !exchange.location.empty();
  if (exchange.body.empty()) {
    if (has_proof) return {};
    return Unclear(exchange, sent.attempts + 1 < limits::kFaultAttemptsMax ? kAgain : kHold,
                   " without anything that shows that the resource is there");
  }
  if (!IsJson(exchange.content_type)) return NotJson(exchange);
  // R4 http.html#ops: the resource, or what there is to say of it.
  if (IsResource(exchange.body, type)) return {};
  if (has_proof && IsResource(exchange.body, "OperationOutcome")) return {};
  if (!schemas::Document::Parse(exchange.body, kAnswerLimits)) return NotJson(exchange);
  return Unclear(exchange, kHold, ", which does not say what became of it");
}

Verdict JudgeEntry(const BadEntry& entry, const Sent& sent) {
  Said said;
  said.status = entry.status;
  said.column = &Row::entry;
  said.issue = entry.issue;
  said.text = entry.outcome;
  said.about = "entry " + std::to_string(entry.number) + ": ";
  return JudgeStatus(said, sent);
}

bool IsWorse(const Verdict& a, const Verdict& b) { return Weight(a.course) > Weight(b.course); }

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
