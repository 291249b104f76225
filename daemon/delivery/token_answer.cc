#include "daemon/delivery/token_answer.h"

#include <algorithm>
#include <array>
#include <charconv>

#include "daemon/base/limits.h"
#include "daemon/delivery/bundle_shape.h"
#include "daemon/delivery/retry_after.h"
#include "daemon/delivery/token.h"
#include "daemon/delivery/verdict.h"
#include "schemas/json/document.h"

namespace dwell::delivery {
namespace {

using Course = TokenAnswer::Course;

/// A member "error" of a refusal (RFC 6749 section 5.2; the last two are section 4.1.2.1's, which
/// some servers also say here).
struct ErrorRow {
  std::string_view error;
  Course course;
  const char* why;
};
constexpr std::array kErrors = {
    ErrorRow{"invalid_client", Course::kRefused,
             "does not accept who we say we are (invalid_client): are client_id, key_id and the "
             "public key registered there, is token_url what it calls itself, is our clock right?"},
    ErrorRow{"invalid_grant", Course::kRefused, "does not accept our statement (invalid_grant)"},
    ErrorRow{"invalid_request", Course::kRefused, "says the request is wrong (invalid_request)"},
    ErrorRow{"invalid_scope", Course::kRefused, "does not grant this scope (invalid_scope)"},
    ErrorRow{"unauthorized_client", Course::kRefused,
             "does not let this client ask for tokens (unauthorized_client)"},
    ErrorRow{"unsupported_grant_type", Course::kRefused,
             "knows no client credentials (unsupported_grant_type)"},
    ErrorRow{"server_error", Course::kLater, "failed (server_error)"},
    ErrorRow{"temporarily_unavailable", Course::kLater, "is unavailable (temporarily_unavailable)"},
};

/// A status, when no row above says more. The first that fits counts; RFC 9110 section 15.
struct StatusRow {
  int first, last;
  Course course;
  const char* why;
};
constexpr std::array kStatuses = {
    StatusRow{300, 399, Course::kRefused, "redirects; put the new address into the configuration"},
    StatusRow{404, 405, Course::kRefused, "gives no tokens there; is token_url right?"},
    StatusRow{408, 408, Course::kLater, "waited too long for the request"},
    StatusRow{425, 425, Course::kLater, "says it is too early"},
    StatusRow{429, 429, Course::kLater, "says there are too many requests"},
    StatusRow{400, 499, Course::kRefused, "refused us"},
    StatusRow{500, 599, Course::kLater, "failed"},
};

bool EqualsInAnyCase(std::string_view text, std::string_view lower) {
  return std::equal(text.begin(), text.end(), lower.begin(), lower.end(), [](char a, char b) {
    return (a >= 'A' && a <= 'Z' ? static_cast<char>(a - 'A' + 'a') : a) == b;
  });
}

/// RFC 6749 section 5.1: a number; some servers send it as a string. Whole seconds; none when it is
/// absent or is no such thing.
std::optional<std::chrono::seconds> LifetimeOf(schemas::Value answer) {
  const auto value = answer.Find("expires_in");
  if (!value || !(value->is_number() || value->is_string())) return std::nullopt;
  const std::string_view text = value->is_number() ? value->NumberText() : value->AsString();
  std::int64_t number = 0;
  const auto read = std::from_chars(text.data(), text.data() + text.size(), number);
  if (read.ec == std::errc::result_out_of_range) return limits::kTokenLifeMax;
  if (read.ec != std::errc()) return std::nullopt;
  return std::clamp(std::chrono::seconds(number), std::chrono::seconds(0),
                    std::chrono::seconds(limits::kTokenLifeMax));
}

TokenAnswer Later(std::string why) {
  TokenAnswer answer;
  answer.why = std::move(why);
  return answer;
}

TokenAnswer Refused(std::string why) {
  TokenAnswer answer = Later(std::move(why));
  answer.course = Course::kRefused;
  return answer;
}

TokenAnswer JudgeToken(schemas::Value root) {
  const auto type = root.Find("token_type");
  if (!type || !type->is_string() || !EqualsInAnyCase(type->AsString(), "bearer")) {
    return Refused("the token endpoint gives tokens of another type than bearer");
  }
  const auto token = root.Find("access_token");
  if (!token || !token->is_string() || !IsToken(token->AsString())) {
    return Later("the token endpoint answered 200 without a token that fits into a request");
  }
  TokenAnswer answer;
  answer.lifetime = LifetimeOf(root).value_or(limits::kTokenLifeDefault);
  if (answer.lifetime == std::chrono::seconds(0)) {
    return Later("the token endpoint gives tokens that have already expired");
  }
  answer.course = Course::kToken;
  answer.token = token->AsString();
  return answer;
}

TokenAnswer JudgeStatus(const net::Exchange& exchange, std::optional<schemas::Value> root,
                        Instant now) {
  TokenAnswer answer = Later("the token endpoint answered " + std::to_string(exchange.status));
  answer.retry_after = ReadRetryAfter(exchange.retry_after, exchange.date, now);
  for (const ErrorRow& row : kErrors) {
    if (exchange.status < 400 || exchange.status > 499 || !root) break;
    if (!Says(*root, "error", row.error)) continue;
    answer.course = row.course;
    answer.why.append(": it ").append(row.why);
    return answer;
  }
  for (const StatusRow& row : kStatuses) {
    if (exchange.status < row.first || exchange.status > row.last) continue;
    answer.course = row.course;
    answer.why.append(": it ").append(row.why);
    return answer;
  }
  return answer;
}

TokenAnswer JudgeAll(const net::Exchange& exchange, Instant now) {
  if (exchange.failure != net::Failure::kNone) {
    return Later("the token endpoint: " + exchange.error);
  }
  if (exchange.body.size() > limits::kTokenAnswerBytesMax) {
    return Later("the token endpoint answered more than anybody needs to say");
  }
  const auto document = schemas::Document::Parse(exchange.body);
  std::optional<schemas::Value> root;
  if (IsJson(exchange.content_type) && document && document->root().is_object()) {
    root = document->root();
  }
  if (exchange.status != 200) return JudgeStatus(exchange, root, now);
  if (!root) return Later("the token endpoint answered 200 without a JSON object");
  return JudgeToken(*root);
}

}  // namespace

TokenAnswer JudgeTokenAnswer(const net::Exchange& exchange, Instant now) {
  TokenAnswer answer = JudgeAll(exchange, now);
  answer.status = exchange.status;
  return answer;
}

}  // namespace dwell::delivery
