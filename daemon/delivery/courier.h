// Takes one bundle to the endpoint: what lets us in, look-ups, the request, and what its answer
// means. Inside of delivery; on the thread of its loop.
#pragma once

#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "daemon/delivery/credentials.h"
#include "daemon/delivery/outcome.h"
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
  Courier(std::string target, std::chrono::milliseconds time_max, Credentials credentials,
          Resolver resolver, const base::Clock& clock, std::function<TokenState::Time()> steady);

  /// Nobody else uses `wire` meanwhile; the body may be changed on the way. `bundles`: one.
  boost::asio::awaitable<Outcome> Carry(Wire& wire, std::vector<store::BundleRecord>& bundles);

  /// How far our clock is ahead of the endpoint's or the token endpoint's, when that is worth
  /// telling.
  std::optional<std::chrono::seconds> clock_ahead() const;
  /// No more requests begin; one for a token fails.
  void CutOff();

 private:
  /// What came of one bundle, and what that says of the endpoint.
  struct Heard {
    Verdict verdict;
    Sign sign;
  };
  boost::asio::awaitable<std::optional<Heard>> Admit();
  boost::asio::awaitable<Heard> LookUpAndAttempt(Wire& wire, store::BundleRecord& bundle);
  boost::asio::awaitable<Heard> Attempt(Wire& wire, const store::BundleRecord& bundle);
  Sent Describe(const store::BundleRecord& bundle) const;
  void WriteFields(Wire& wire, const store::BundleRecord& bundle, std::string_view content,
                   std::string_view purpose);
  Heard Consider(Verdict verdict, const Wire& wire);
  void LookAtClock(std::string_view date);

  std::string target_;
  std::chrono::milliseconds time_max_;
  Credentials credentials_;
  Resolver resolver_;
  const base::Clock& clock_;
  std::function<TokenState::Time()> steady_;
  ClockSkew skew_;
  TokenState::Time clock_looked_{};
  bool cut_off_ = false;
};

}  // namespace dwell::delivery
