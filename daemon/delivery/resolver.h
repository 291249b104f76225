// Looks up the patients and encounters of a bundle before it is sent: each once, however many
// bundles ask, and remembered for a while. Inside of delivery; on the thread of its loop.
//
// The store keeps the bundle frozen with the searches in it, so each attempt looks afresh or in the
// memory, and two attempts may differ in these ids. That is safe: every entry is a PUT under an id
// of ours, so the later attempt is a new version of the same resources, never a second set.
#pragma once

#include <boost/asio/any_io_executor.hpp>
#include <boost/asio/awaitable.hpp>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <unordered_map>
#include <vector>

#include "daemon/base/clock.h"
#include "daemon/delivery/found_cache.h"
#include "daemon/delivery/searches.h"
#include "daemon/net/http_client.h"

namespace dwell::delivery {

/// What became of a bundle's searches.
struct Resolution {
  std::optional<Verdict> obstacle;  ///< why the bundle cannot go out now
  bool is_shared = false;           ///< the obstacle is the answer to another bundle's look-up
  bool is_remembered = false;       ///< something was known from before
  std::vector<std::string> searches;
  std::string body;  ///< the bundle with ids; only when it had searches and there is no obstacle
};

class Resolver {
 public:
  struct Settings {
    std::vector<std::string> types;        ///< to be looked up; empty: none
    std::chrono::milliseconds cached_for;  ///< 0: nothing is remembered
    std::string base;                      ///< path of the base URL
    std::chrono::milliseconds time_max;    ///< of one look-up
  };
  using Steady = std::function<FoundCache::Time()>;

  /// `clock` outlives it.
  Resolver(boost::asio::any_io_executor executor, Settings settings, const base::Clock& clock,
           Steady steady);

  /// Whether there is anything to do for any bundle.
  bool is_needed() const { return !settings_.types.empty(); }

  /// Goes through `client`, which nobody else uses meanwhile; `fields` as in net::Request. All that
  /// is passed must live until the end.
  boost::asio::awaitable<Resolution> Resolve(net::HttpClient& client, std::string_view fields,
                                             std::string_view body, const Sent& sent);

  /// Told what the endpoint answered to the bundle. When that may be about an id, what was
  /// remembered is forgotten; and a refusal of ids from the memory is no reason to hold the bundle:
  /// it goes again, looked up anew.
  void Learn(const Resolution& resolution, const Sent& sent, Verdict& verdict);

 private:
  struct LookUp;
  struct Answer {
    std::shared_ptr<const net::Exchange> exchange;
    bool is_shared = false;
  };
  boost::asio::awaitable<Answer> Ask(net::HttpClient& client, std::string_view fields,
                                     const std::string& search);
  boost::asio::awaitable<std::vector<Found>> FindAll(net::HttpClient& client,
                                                     std::string_view fields, const Sent& sent,
                                                     bool may_remember, Resolution& resolution);

  boost::asio::any_io_executor executor_;
  Settings settings_;
  const base::Clock& clock_;
  Steady steady_;
  FoundCache cache_;
  std::unordered_map<std::string, std::shared_ptr<LookUp>> in_flight_;
};

}  // namespace dwell::delivery
