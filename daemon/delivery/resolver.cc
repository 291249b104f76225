#include "daemon/delivery/resolver.h"

#include <boost/asio/as_tuple.hpp>
#include <boost/asio/deferred.hpp>
#include <boost/asio/steady_timer.hpp>
#include <utility>

#include "daemon/base/limits.h"

namespace dwell::delivery {
namespace asio = boost::asio;

/// One on its way; others who need the same wait for its bell.
struct Resolver::LookUp {
  explicit LookUp(const asio::any_io_executor& executor)
      : bell(executor, asio::steady_timer::time_point::max()) {}
  asio::steady_timer bell;
  std::shared_ptr<const net::Exchange> exchange;
};

Resolver::Resolver(asio::any_io_executor executor, Settings settings, const base::Clock& clock,
                   Steady steady)
    : executor_(std::move(executor)),
      settings_(std::move(settings)),
      clock_(clock),
      steady_(std::move(steady)),
      cache_(settings_.cached_for, limits::kFoundMax) {}

asio::awaitable<Resolver::Answer> Resolver::Ask(net::HttpClient& client, std::string_view fields,
                                                const std::string& search) {
  Answer answer;
  if (const auto running = in_flight_.find(search); running != in_flight_.end()) {
    const std::shared_ptr<LookUp> other = running->second;
    co_await other->bell.async_wait(asio::as_tuple(asio::deferred));
    answer.exchange = other->exchange;
    answer.is_shared = true;
    co_return answer;
  }
  const auto own = std::make_shared<LookUp>(executor_);
  in_flight_.emplace(search, own);
  const std::string target = SearchTarget(settings_.base, search);
  net::Request request;
  request.method = "GET";
  request.target = target;
  request.fields = fields;
  net::Exchange exchange = co_await client.Send(request, settings_.time_max);
  own->exchange = std::make_shared<const net::Exchange>(std::move(exchange));
  in_flight_.erase(search);
  own->bell.cancel();
  answer.exchange = own->exchange;
  co_return answer;
}

/// As many as there are searches, or an obstacle.
asio::awaitable<std::vector<Found>> Resolver::FindAll(net::HttpClient& client,
                                                      std::string_view fields, const Sent& sent,
                                                      bool may_remember, Resolution& resolution) {
  std::vector<Found> all;
  for (const std::string& search : resolution.searches) {
    const Found* const known = may_remember ? cache_.Find(search, steady_()) : nullptr;
    if (known != nullptr) {
      all.push_back(*known);
      resolution.is_remembered = true;
      continue;
    }
    const Answer answer = co_await Ask(client, fields, search);
    Result<Found, Verdict> judged = JudgeSearch(*answer.exchange, search, sent, clock_.Now());
    if (!judged) {
      resolution.obstacle = judged.error();
      resolution.is_shared = answer.is_shared;
      co_return all;
    }
    if (!answer.is_shared) cache_.Put(search, *judged, steady_());
    all.push_back(std::move(*judged));
  }
  co_return all;
}

asio::awaitable<Resolution> Resolver::Resolve(net::HttpClient& client, std::string_view fields,
                                              std::string_view body, const Sent& sent) {
  Resolution resolution;
  const Searches searches = FindSearches(body, settings_.types);
  resolution.searches = searches.texts;
  std::vector<Found> found = co_await FindAll(client, fields, sent, true, resolution);
  if (!resolution.obstacle && resolution.is_remembered && ContradictEachOther(found)) {
    resolution.is_remembered = false;  // an old memory may be what is wrong
    found = co_await FindAll(client, fields, sent, false, resolution);
  }
  if (!resolution.obstacle && ContradictEachOther(found)) resolution.obstacle = Contradiction();
  if (resolution.obstacle || searches.texts.empty()) co_return resolution;
  std::vector<std::string> literals;
  literals.reserve(found.size());
  for (Found& one : found) literals.push_back(std::move(one.literal));
  resolution.body = PutLiterals(body, searches, literals);
  co_return resolution;
}

void Resolver::Learn(const Resolution& resolution, const Sent& sent, Verdict& verdict) {
  if (!MayBlameAnId(verdict)) return;
  for (const std::string& search : resolution.searches) cache_.Forget(search);
  const bool is_fresh = !resolution.is_remembered;
  if (is_fresh || verdict.course != Course::kHold || verdict.uncertain) return;
  if (sent.attempts + 1 >= limits::kConflictAttemptsMax) return;  // another bundle refills it
  verdict.course = Course::kAgain;
  verdict.why += "; its patient and encounter are looked up anew";
}

}  // namespace dwell::delivery
