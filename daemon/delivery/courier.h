// Takes one bundle to the endpoint: what lets us in, look-ups, the request, and what its answer
// means. Inside of delivery; on the thread of its loop.
#pragma once

#include <functional>
#include <memory>
#include <optional>
#include <string>

#include "daemon/delivery/credentials.h"
#include "daemon/delivery/resolver.h"
#include "daemon/store/store.h"

namespace dwell::delivery {

/// One of the connections to the endpoint.
struct Wire {
  std::unique_ptr<net::HttpClient> client;
  std::string fields;            ///< of the request on its way
  std::uint64_t generation = 0;  ///< of the token in them
};

class Courier {
 public:
  /// Told what an answer says of the endpoint as a whole.
  using Weigh = std::function<void(const Verdict&)>;

  Courier(std::string target, std::chrono::milliseconds time_max, Credentials credentials,
          Resolver resolver, const base::Clock& clock, std::function<TokenState::Time()> steady,
          Weigh weigh);

  /// Nobody else uses `wire` meanwhile; `bundle`'s body may be changed on the way.
  boost::asio::awaitable<Verdict> Carry(Wire& wire, store::BundleRecord& bundle);

  /// What Judge() is told of a bundle.
  Sent Describe(const store::BundleRecord& bundle) const;
  /// How far our clock is ahead of the endpoint's or the token endpoint's, when that is worth
  /// telling.
  std::optional<std::chrono::seconds> clock_ahead() const;
  /// No more requests begin; one for a token fails.
  void CutOff();

 private:
  boost::asio::awaitable<std::optional<Verdict>> Admit();
  boost::asio::awaitable<Verdict> LookUpAndAttempt(Wire& wire, store::BundleRecord& bundle);
  boost::asio::awaitable<Verdict> Attempt(Wire& wire, const store::BundleRecord& bundle);
  void WriteFields(Wire& wire, const store::BundleRecord& bundle, std::string_view content,
                   std::string_view purpose);
  void Consider(Verdict& verdict, const Wire& wire);
  void LookAtClock(std::string_view date);

  std::string target_;
  std::chrono::milliseconds time_max_;
  Credentials credentials_;
  Resolver resolver_;
  const base::Clock& clock_;
  std::function<TokenState::Time()> steady_;
  Weigh weigh_;
  ClockSkew skew_;
  TokenState::Time clock_looked_{};
  bool cut_off_ = false;
};

}  // namespace dwell::delivery
