#include "daemon/delivery/inquiry.h"

#include <boost/asio/co_spawn.hpp>
#include <boost/asio/io_context.hpp>
#include <random>

#include "daemon/delivery/route.h"
#include "schemas/base/check.h"

namespace dwell::delivery {
namespace {

namespace asio = boost::asio;

/// What came back.
struct Answers {
  std::optional<Verdict> obstacle;  ///< there is no token; asked without one
  net::Exchange statement;
  std::optional<net::Exchange> smart;
};

class Asking {
 public:
  Asking(asio::io_context& loop, Route route, const base::Clock& clock)
      : base_(route.target == "/" ? "" : route.target),
        time_max_(route.attempt_time_max),
        client_(route.origin, route.tls),
        credentials_(MakeCredentials(loop.get_executor(), route, clock, OwnMeans())) {}

  asio::awaitable<void> Run(bool also_smart, Answers& answers) {
    answers.obstacle = co_await credentials_.Ready();
    const std::string statement = base_ + "/metadata";
    const std::string fields =
        "Accept: application/fhir+json\r\nUser-Agent: dwelld\r\n" + credentials_.field();
    answers.statement = co_await Get(statement, fields);
    if (!also_smart || answers.statement.failure != net::Failure::kNone) co_return;
    // SMART App Launch 2.2.0, conformance: without credentials.
    const std::string smart = base_ + "/.well-known/smart-configuration";
    const std::string open_fields = "Accept: application/json\r\nUser-Agent: dwelld\r\n";
    answers.smart = co_await Get(smart, open_fields);
  }

 private:
  static Means OwnMeans() {
    Means means;
    means.random = [engine = std::mt19937_64(std::random_device()())]() mutable {
      return engine();
    };
    means.steady = [] { return std::chrono::steady_clock::now(); };
    return means;
  }

  asio::awaitable<net::Exchange> Get(const std::string& target, const std::string& fields) {
    net::Request request;
    request.method = "GET";
    request.target = target;
    request.fields = fields;
    co_return co_await client_.Send(request, time_max_);
  }

  std::string base_;
  std::chrono::milliseconds time_max_;
  net::HttpClient client_;
  Credentials credentials_;
};

bool HasNoAnswer(const net::Exchange& exchange) {
  return exchange.failure != net::Failure::kNone && exchange.failure != net::Failure::kTooLarge;
}

Inquiry Judged(const Answers& answers, const Wants& wants) {
  Inquiry inquiry;
  if (answers.obstacle) {
    inquiry.unreached = ErrorKind::kNetwork;
    inquiry.findings.push_back(
        {Grade::kCannot, "token", answers.obstacle->why,
         "keeps everything and goes on asking; the statement was asked for without a token",
         "see endpoint.token_url, client_id, key_file, key_id and scope"});
  }
  const net::Exchange& statement = answers.statement;
  if (HasNoAnswer(statement)) {
    const bool is_tls = statement.failure == net::Failure::kTls;
    inquiry.unreached = is_tls ? ErrorKind::kTls : ErrorKind::kNetwork;
  }
  for (Finding& finding : JudgeStatement(statement, wants)) {
    inquiry.findings.push_back(std::move(finding));
  }
  if (answers.smart) inquiry.findings.push_back(JudgeSmart(*answers.smart, wants));
  return inquiry;
}

}  // namespace

Result<Inquiry> Inquire(const Endpoint& endpoint, const Wants& wants, const base::Clock& clock) {
  Result<Route> route = PrepareRoute(endpoint);
  if (!route) return route.error();
  const bool also_smart = route->tokens.has_value();
  asio::io_context loop(1);
  Answers answers;
  Asking asking(loop, std::move(*route), clock);
  // The connection that is kept has a timer, which must not keep us.
  asio::co_spawn(loop, asking.Run(also_smart, answers), [&loop](const std::exception_ptr& failure) {
    CHECK(failure == nullptr);
    loop.stop();
  });
  loop.run();
  return Judged(answers, wants);
}

}  // namespace dwell::delivery
