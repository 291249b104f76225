#include "daemon/delivery/courier.h"

#include "daemon/base/limits.h"
#include "daemon/base/log.h"
#include "daemon/delivery/settle.h"
#include "schemas/base/check.h"

namespace dwell::delivery {
namespace asio = boost::asio;
namespace {

using std::chrono::milliseconds;

Verdict Stopped() {
  Verdict verdict;
  verdict.course = Course::kPause;
  verdict.untouched = true;
  verdict.why = "the daemon stopped before it was sent";
  return verdict;
}

}  // namespace

Courier::Courier(std::string target, milliseconds time_max, Credentials credentials,
                 Resolver resolver, const base::Clock& clock,
                 std::function<TokenState::Time()> steady)
    : target_(std::move(target)),
      time_max_(time_max),
      credentials_(std::move(credentials)),
      resolver_(std::move(resolver)),
      clock_(clock),
      steady_(std::move(steady)) {}

asio::awaitable<Outcome> Courier::Carry(Wire& wire, std::vector<store::BundleRecord>& bundles) {
  CHECK(bundles.size() == 1);
  Heard heard;
  if (resolver_.is_needed()) {
    heard = co_await LookUpAndAttempt(wire, bundles.front());
  } else {
    heard = co_await Attempt(wire, bundles.front());
  }
  Outcome outcome;
  outcome.verdicts.push_back(std::move(heard.verdict));
  outcome.sign = heard.sign;
  co_return outcome;
}

/// Before each request, so that a token that ended while another request was on its way is no
/// longer used.
asio::awaitable<std::optional<Courier::Heard>> Courier::Admit() {
  std::optional<Verdict> obstacle = co_await credentials_.Ready();
  std::optional<Heard> heard;
  if (cut_off_) {
    heard.emplace().verdict = Stopped();
  } else if (obstacle) {
    heard.emplace().sign = SignOf(*obstacle);
    heard->verdict = std::move(*obstacle);
  }
  co_return heard;
}

asio::awaitable<Courier::Heard> Courier::Attempt(Wire& wire, const store::BundleRecord& bundle) {
  std::optional<Heard> obstacle = co_await Admit();
  if (obstacle) co_return std::move(*obstacle);
  WriteFields(wire, bundle, "Content-Type: application/fhir+json\r\nPrefer: return=minimal\r\n",
              "");
  net::Request request;
  request.method = "POST";
  request.target = target_;
  request.fields = wire.fields;
  request.body = bundle.body;
  const net::Exchange exchange = co_await wire.client->Send(request, time_max_);
  LookAtClock(exchange.date);
  co_return Consider(Judge(exchange, Describe(bundle), clock_.Now()), wire);
}

/// Puts the endpoint's ids into the body, or says what stands against it.
asio::awaitable<Courier::Heard> Courier::LookUpAndAttempt(Wire& wire, store::BundleRecord& bundle) {
  std::optional<Heard> stop = co_await Admit();
  if (stop) co_return std::move(*stop);
  WriteFields(wire, bundle, "", "-search");
  const Sent sent = Describe(bundle);
  Resolution resolution = co_await resolver_.Resolve(*wire.client, wire.fields, bundle.body, sent);
  if (resolution.obstacle) {
    // What a shared answer says of the endpoint was weighed by the one who asked; but whether the
    // token is still good each must hear for itself.
    const bool is_refused = resolution.obstacle->status == 401;
    if (!resolution.is_shared || is_refused) co_return Consider(*resolution.obstacle, wire);
    Heard heard;
    heard.verdict = std::move(*resolution.obstacle);
    co_return heard;
  }
  if (!resolution.searches.empty()) bundle.body = std::move(resolution.body);
  Heard heard = co_await Attempt(wire, bundle);
  resolver_.Learn(resolution, sent, heard.verdict);
  co_return heard;
}

void Courier::WriteFields(Wire& wire, const store::BundleRecord& bundle, std::string_view content,
                          std::string_view purpose) {
  wire.fields.assign("Accept: application/fhir+json\r\n").append(content);
  wire.fields.append("User-Agent: dwelld\r\nX-Request-Id: ").append(std::to_string(bundle.seq));
  wire.fields.append("-").append(std::to_string(bundle.attempts + 1)).append(purpose);
  wire.fields.append("\r\n").append(credentials_.field());
  wire.generation = credentials_.generation();
}

/// A token that ended says nothing of the endpoint.
Courier::Heard Courier::Consider(Verdict verdict, const Wire& wire) {
  Heard heard;
  const bool is_about_token = credentials_.Weigh(verdict, wire.generation);
  if (!is_about_token) heard.sign = SignOf(verdict);
  heard.verdict = std::move(verdict);
  return heard;
}

void Courier::LookAtClock(std::string_view date) {
  const auto now = steady_();
  if (date.empty() || now - clock_looked_ < limits::kClockLook) return;
  clock_looked_ = now;
  if (!skew_.Look(date, clock_.Now())) return;
  log::Write(log::Level::kWarning, "clock-differs-from-endpoint",
             {{"ahead_s", skew_.ahead().count()}});
}

std::optional<std::chrono::seconds> Courier::clock_ahead() const {
  const auto ahead = skew_.trouble();
  return ahead ? ahead : credentials_.clock_ahead();
}

Sent Courier::Describe(const store::BundleRecord& bundle) const {
  Sent sent;
  sent.entries = bundle.entries;
  sent.attempts = bundle.attempts;
  sent.age = AgeOf(bundle, clock_.Now());
  return sent;
}

void Courier::CutOff() {
  cut_off_ = true;
  credentials_.Close();
}

}  // namespace dwell::delivery
