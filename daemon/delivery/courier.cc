#include "daemon/delivery/courier.h"

#include <algorithm>

#include "daemon/base/limits.h"
#include "daemon/base/log.h"
#include "daemon/delivery/load.h"
#include "daemon/delivery/settle.h"

namespace dwell::delivery {
namespace asio = boost::asio;
namespace {

using std::chrono::milliseconds;

Verdict Unsent() {
  Verdict verdict;
  verdict.course = Course::kPause;
  verdict.untouched = true;
  return verdict;
}

Verdict Stopped() {
  Verdict verdict;
  verdict.course = Course::kPause;
  verdict.untouched = true;
  verdict.why = "the daemon stopped before it was sent";
  return verdict;
}

}  // namespace

/// One sending on its way.
struct Courier::Trip {
  Trip(Wire& the_wire, Sending& the_sending, Outcome& the_outcome)
      : wire(the_wire), sending(the_sending), outcome(the_outcome) {}
  /// None of it goes, or no more of it.
  void Stop(const Heard& heard) {
    std::fill(outcome.verdicts.begin(), outcome.verdicts.end(), heard.verdict);
    outcome.sign = heard.sign;
    going.clear();
  }

  /// What stands in the way of bundle `which` is in the way of all: those before it, which were
  /// ready to go, and those behind it.
  void HoldBack(std::size_t which) {
    going.clear();
    for (std::size_t i = 0; i < outcome.verdicts.size(); ++i) {
      if (outcome.verdicts[i].untouched) outcome.verdicts[i].why = outcome.verdicts[which].why;
    }
  }

  Wire& wire;
  Sending& sending;
  Outcome& outcome;
  std::vector<Resolution> resolutions;  ///< one for each bundle, where there are look-ups
  std::vector<std::size_t> going;       ///< the bundles that go out
};

Courier::Courier(std::string target, milliseconds time_max, Credentials credentials,
                 Resolver resolver, const base::Clock& clock,
                 std::function<TokenState::Time()> steady)
    : target_(std::move(target)),
      time_max_(time_max),
      credentials_(std::move(credentials)),
      resolver_(std::move(resolver)),
      clock_(clock),
      steady_(std::move(steady)) {}

asio::awaitable<Outcome> Courier::Carry(Wire& wire, Sending& sending) {
  Outcome outcome;
  outcome.verdicts.assign(sending.bundles.size(), Unsent());
  Trip trip(wire, sending, outcome);
  if (!resolver_.is_needed()) {
    for (std::size_t i = 0; i < sending.bundles.size(); ++i) trip.going.push_back(i);
  } else {
    trip.resolutions.resize(sending.bundles.size());
    co_await LookUp(trip);
  }
  if (!trip.going.empty()) co_await Post(trip);
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

/// Puts the endpoint's ids into the bodies; what has an obstacle stays, and when that is about more
/// than its own ids all stay.
asio::awaitable<void> Courier::LookUp(Trip& trip) {
  std::optional<Heard> stop = co_await Admit();
  if (stop) co_return trip.Stop(*stop);
  for (std::size_t i = 0; i < trip.sending.bundles.size(); ++i) {
    store::BundleRecord& bundle = trip.sending.bundles[i];
    WriteFields(trip.wire, bundle, "", "-search");
    const Sent sent = Describe(bundle);
    Resolution& resolution = trip.resolutions[i];
    resolution = co_await resolver_.Resolve(*trip.wire.client, trip.wire.fields, bundle.body, sent);
    if (!resolution.obstacle) {
      if (!resolution.searches.empty()) bundle.body = std::move(resolution.body);
      trip.going.push_back(i);
      continue;
    }
    // What a shared answer says of the endpoint was weighed by the one who asked; but whether the
    // token is still good each must hear for itself.
    std::vector<Verdict> verdict = {*resolution.obstacle};
    const bool is_weighed = resolution.is_shared && verdict.front().status != 401;
    if (!is_weighed) trip.outcome.sign = Consider(verdict, trip.wire);
    trip.outcome.verdicts[i] = std::move(verdict.front());
    const Course course = trip.outcome.verdicts[i].course;
    if (course == Course::kHold || course == Course::kWait) continue;
    trip.HoldBack(i);
    co_return;
  }
}

asio::awaitable<void> Courier::Post(Trip& trip) {
  std::vector<Parcel> parcels;
  for (const std::size_t i : trip.going) {
    const store::BundleRecord& bundle = trip.sending.bundles[i];
    parcels.push_back({bundle.body, Describe(bundle)});
  }
  const store::BundleRecord& first = trip.sending.bundles[trip.going.front()];
  Load load(trip.sending.style, target_, parcels);
  std::size_t number = 0;
  while (const std::optional<Outgoing> outgoing = load.Next()) {
    std::optional<Heard> stop = co_await Admit();
    if (stop) {
      if (number > 0) stop->verdict.uncertain = true;  // the earlier part of it is there
      if (number > 0) stop->verdict.untouched = false;
      co_return trip.Stop(*stop);
    }
    const std::string purpose = number == 0 ? "" : "-" + std::to_string(number + 1);
    WriteFields(trip.wire, first, outgoing->fields, purpose);
    net::Request request;
    request.method = outgoing->method;
    request.target = outgoing->target;
    request.fields = trip.wire.fields;
    request.body = outgoing->body;
    const net::Exchange exchange = co_await trip.wire.client->Send(request, time_max_);
    LookAtClock(exchange.date);
    load.Take(exchange, clock_.Now());
    ++number;
  }
  std::vector<Verdict> verdicts = load.verdicts();
  const Sign sign = Consider(verdicts, trip.wire);
  // A bundle that is unknown to the endpoint says less of it than the answer to the others.
  trip.outcome.sign = sign;
  trip.outcome.entries = load.entries();
  for (std::size_t i = 0; i < verdicts.size(); ++i) {
    const std::size_t which = trip.going[i];
    if (resolver_.is_needed()) {
      resolver_.Learn(trip.resolutions[which], parcels[i].sent, verdicts[i]);
    }
    trip.outcome.verdicts[which] = std::move(verdicts[i]);
  }
}

asio::awaitable<Statement> Courier::ReadStatement(Wire& wire) {
  const std::optional<Heard> stop = co_await Admit();
  if (stop) co_return Statement();
  wire.fields = "Accept: application/fhir+json\r\nUser-Agent: dwelld\r\n" + credentials_.field();
  const std::string target = (target_ == "/" ? "" : target_) + "/metadata";
  net::Request request;
  request.method = "GET";
  request.target = target;
  request.fields = wire.fields;
  const net::Exchange exchange = co_await wire.client->Send(request, time_max_);
  co_return delivery::ReadStatement(exchange);
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
Sign Courier::Consider(std::vector<Verdict>& verdicts, const Wire& wire) {
  bool is_about_token = false;
  for (Verdict& verdict : verdicts) {
    is_about_token = credentials_.Weigh(verdict, wire.generation) || is_about_token;
  }
  return is_about_token ? Sign() : SignOf(verdicts);
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
