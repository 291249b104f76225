#include "tests/endpoint/token_desk.h"

#include <ctime>

#include "tests/endpoint/desk.h"

namespace practice {
namespace {

constexpr std::string_view kStatementType =
    "urn:ietf:params:oauth:client-assertion-type:jwt-bearer";  // RFC 7523 section 2.2

/// RFC 6749 section 5.2.
HttpResponse Refuse(int status, std::string_view error) {
  HttpResponse response;
  response.status = status;
  response.content_type = "application/json";
  response.body = R"({"error":")" + std::string(error) + "\"}";
  return response;
}

}  // namespace

TokenDesk::TokenDesk() : now_s_([] { return std::int64_t{std::time(nullptr)}; }) {}

void TokenDesk::Register(std::string token_url, Registered client) {
  const std::scoped_lock lock(mutex_);
  token_url_ = std::move(token_url);
  client_ = std::move(client);
}

void TokenDesk::SetManners(const TokenManners& manners) {
  const std::scoped_lock lock(mutex_);
  manners_ = manners;
}

TokenCounts TokenDesk::counts() const {
  const std::scoped_lock lock(mutex_);
  return counts_;
}

void TokenDesk::EndAll() {
  const std::scoped_lock lock(mutex_);
  good_until_.clear();
}

void TokenDesk::SetClock(std::function<std::int64_t()> now_s) {
  const std::scoped_lock lock(mutex_);
  now_s_ = std::move(now_s);
}

bool TokenDesk::is_open() const {
  const std::scoped_lock lock(mutex_);
  return !client_.client_id.empty();
}

bool TokenDesk::Admits(std::string_view authorization) {
  const std::scoped_lock lock(mutex_);
  if (client_.client_id.empty()) return true;
  const auto known = good_until_.find(std::string(authorization));
  if (known != good_until_.end() && now_s_() < known->second) return true;
  ++counts_.rejected;
  return false;
}

HttpResponse TokenDesk::Answer(std::string_view content_type, std::string_view body) {
  const std::scoped_lock lock(mutex_);
  ++counts_.asked;
  counts_.bodies.emplace_back(body);
  HttpResponse response;
  if (content_type != "application/x-www-form-urlencoded" ||
      QueryValue(body, "grant_type") != "client_credentials" ||
      QueryValue(body, "client_assertion_type") != kStatementType) {
    response = Refuse(400, "invalid_request");
  } else {
    const std::string fault =
        CheckStatement(QueryValue(body, "client_assertion"), client_, token_url_, now_s_(), used_);
    if (!fault.empty()) {
      counts_.faults.push_back(fault);
      response = Refuse(401, "invalid_client");
    } else if (QueryValue(body, "scope") != manners_.scope) {
      response = Refuse(400, "invalid_scope");
    } else {
      response = Give();
    }
  }
  response.date_ahead_s = static_cast<int>(now_s_() - std::time(nullptr));
  return response;
}

HttpResponse TokenDesk::Give() {
  const std::string token = "practice-secret-" + std::to_string(++counts_.given);
  counts_.tokens.push_back(token);
  if (!manners_.dead_at_once) good_until_["Bearer " + token] = now_s_() + manners_.lifetime_s;
  HttpResponse response;
  response.content_type = "application/json;charset=UTF-8";
  response.fields = "Cache-Control: no-store\r\n";
  response.body = manners_.body;
  if (!response.body.empty()) return response;
  response.body = R"({"access_token":")" + token + R"(","token_type":")" + manners_.type + '"';
  if (manners_.tells_lifetime) {
    response.body += R"(,"expires_in":)" + std::to_string(manners_.lifetime_s);
  }
  response.body += R"(,"scope":")" + manners_.scope + "\"}";
  return response;
}

}  // namespace practice
