#include "daemon/delivery/courier.h"

#include "daemon/base/limits.h"
#include "daemon/base/log.h"

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
                 std::function<TokenState::Time()> steady, Weigh weigh)
    : target_(std::move(target)),
      time_max_(time_max),
      credentials_(std::move(credentials)),
      resolver_(std::move(resolver)),
      clock_(clock),
      steady_(std::move(steady)),
      weigh_(std::move(weigh)) {}

asio::awaitable<Verdict> Courier::Carry(Wire& wire, store::BundleRecord& bundle) {
  if (resolver_.is_needed()) co_return co_await LookUpAndAttempt(wire, bundle);
  co_return co_await Attempt(wire, bundle);
}

/// Before each request, so that a token that ended while another request was on its way is no
/// longer used.
asio::awaitable<std::optional<Verdict>> Courier::Admit() {
  std::optional<Verdict> obstacle = co_await credentials_.Ready();
  if (cut_off_) co_return Stopped();
  if (obstacle) weigh_(*obstacle);
  co_return obstacle;
}

asio::awaitable<Verdict> Courier::Attempt(Wire& wire, const store::BundleRecord& bundle) {
  const std::optional<Verdict> obstacle = co_await Admit();
  if (obstacle) co_return *obstacle;
  WriteFields(wire, bundle, "Content-Type: application/fhir+json\r\nPrefer: return=minimal\r\n",
              "");
  net::Request request;
  request.method = "POST";
  request.target = target_;
  request.fields = wire.fields;
  request.body = bundle.body;
  const net::Exchange exchange = co_await wire.client->Send(request, time_max_);
  LookAtClock(exchange.date);
  Verdict verdict = Judge(exchange, Describe(bundle), clock_.Now());
  Consider(verdict, wire);
  co_return verdict;
}

/// Puts the endpoint's ids into the body, or says what stands against it.
asio::awaitable<Verdict> Courier::LookUpAndAttempt(Wire& wire, store::BundleRecord& bundle) {
  const std::optional<Verdict> obstacle = co_await Admit();
  if (obstacle) co_return *obstacle;
  WriteFields(wire, bundle, "", "-search");
  const Sent sent = Describe(bundle);
  Resolution resolution = co_await resolver_.Resolve(*wire.client, wire.fields, bundle.body, sent);
  if (resolution.obstacle) {
    // What a shared answer says of the endpoint was weighed by the one who asked; but whether the
    // token is still good each must hear for itself.
    const bool is_refused = resolution.obstacle->status == 401;
    if (!resolution.is_shared || is_refused) Consider(*resolution.obstacle, wire);
    co_return *resolution.obstacle;
  }
  if (!resolution.searches.empty()) bundle.body = std::move(resolution.body);
  Verdict verdict = co_await Attempt(wire, bundle);
  resolver_.Learn(resolution, sent, verdict);
  co_return verdict;
}

void Courier::WriteFields(Wire& wire, const store::BundleRecord& bundle, std::string_view content,
                          std::string_view purpose) {
  wire.fields.assign("Accept: application/fhir+json\r\n").append(content);
  wire.fields.append("User-Agent: dwelld\r\nX-Request-Id: ").append(std::to_string(bundle.seq));
  wire.fields.append("-").append(std::to_string(bundle.attempts + 1)).append(purpose);
  wire.fields.append("\r\n").append(credentials_.field());
  wire.generation = credentials_.generation();
}

void Courier::Consider(Verdict& verdict, const Wire& wire) {
  if (!credentials_.Weigh(verdict, wire.generation)) weigh_(verdict);
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
  sent.age = std::max(milliseconds(0), milliseconds(clock_.Now() - bundle.made_at));
  return sent;
}

void Courier::CutOff() {
  cut_off_ = true;
  credentials_.Close();
}

}  // namespace dwell::delivery
