// Takes bundles to the endpoint: what lets us in, look-ups, the requests, and what their answers
// mean. Inside of delivery; on the thread of its loop.
#pragma once

#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "daemon/delivery/credentials.h"
#include "daemon/delivery/engine.h"
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

  /// Nobody else uses `wire` meanwhile; the bodies may be changed on the way. Each request has the
  /// attempt's time.
  boost::asio::awaitable<Outcome> Carry(Wire& wire, Sending& sending);
  /// Likewise. Let in as bundles are.
  boost::asio::awaitable<Statement> ReadStatement(Wire& wire);

  /// How far our clock is ahead of the endpoint's or the token endpoint's, when that is worth
  /// telling.
  std::optional<std::chrono::seconds> clock_ahead() const;
  /// No more requests begin; one for a token fails.
  void CutOff();

 private:
  /// Why nothing can go out, and what that says of the endpoint.
  struct Heard {
    Verdict verdict;
    Sign sign;
  };
  struct Trip;
  boost::asio::awaitable<std::optional<Heard>> Admit();
  boost::asio::awaitable<void> LookUp(Trip& trip);
  boost::asio::awaitable<void> Post(Trip& trip);
  Sent Describe(const store::BundleRecord& bundle) const;
  void WriteFields(Wire& wire, const store::BundleRecord& bundle, std::string_view content,
                   std::string_view purpose);
  Sign Consider(std::vector<Verdict>& verdicts, const Wire& wire);
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
