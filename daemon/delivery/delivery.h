// Sends the queued bundles to the endpoint: per lane in order, one in flight, again and again until
// the endpoint has taken or refused each. Knows nothing of the intake; both meet in the store.
#pragma once

#include <functional>
#include <memory>
#include <string>

#include "daemon/base/clock.h"
#include "daemon/base/limits.h"
#include "daemon/delivery/backoff.h"
#include "daemon/delivery/progress.h"
#include "daemon/delivery/write_style.h"
#include "daemon/net/tls.h"
#include "daemon/store/writer.h"

namespace dwell::delivery {

/// What is looked up at the endpoint before sending, so that the endpoint's own id goes out.
struct LookUps {
  bool patients = false;
  bool encounters = false;
  std::chrono::milliseconds cached_for{0};  ///< 0: each bundle looks anew
};

/// SMART Backend Services: how access tokens are asked for. All empty: they are not.
struct TokenSource {
  std::string token_url;  ///< of the token endpoint, http or https
  std::string client_id;  ///< what we are registered as there
  std::string key_file;   ///< PEM, see net::SigningKey; read anew for each token
  std::string key_id;     ///< under which our public key is registered
  std::string scope;      ///< e.g. "system/*.cruds"
};

struct Endpoint {
  std::int64_t number = 0;  ///< of its lanes, see store::Store::EndpointNumber()
  std::string url;          ///< base URL of the FHIR endpoint, http or https
  net::TlsFiles tls;
  std::string bearer_file;  ///< token sent as Authorization: Bearer; empty: none
  TokenSource tokens;       ///< instead of bearer_file
  std::size_t in_flight_max = limits::kInFlightMax;
  std::chrono::milliseconds attempt_time_max = limits::kAttemptTimeMax;
  LookUps look_ups;
  Pins pins;
  /// By what it holds, or may hold, resources of ours: as the store keeps it (KeepIdentity()).
  std::optional<Identity> in_use;
  FhirRelease release = FhirRelease::kR4;  ///< of what is sent
};

/// What delivery takes from its surroundings; a test brings its own.
struct Means {
  Backoff backoff;
  Random random;  ///< empty: the system's
  /// The steady clock; pauses of the endpoint go by it. Empty: the system's.
  std::function<std::chrono::steady_clock::time_point()> steady;
};

/// Runs on its own thread with its own event loop.
class Delivery {
 public:
  /// Errors: kConfig (URLs, token file, key file), kTls (certificates). `writer` and `clock`
  /// outlive it.
  static Result<std::unique_ptr<Delivery>> Start(store::Writer& writer, const base::Clock& clock,
                                                 const Endpoint& endpoint, Means means = {});
  virtual ~Delivery() = default;

  /// There may be something to send. Cheap; safe from any thread.
  virtual void Wake() = 0;
  /// Begins to stop: claims no more; finishes or abandons what is in flight within `time_max`
  /// (abandoned ones are uncertain in the store). Once more: the new time counts. Cheap; safe from
  /// any thread.
  virtual void Drain(std::chrono::milliseconds time_max) = 0;
  /// Waits for the end of a Drain(): joins the thread.
  virtual void Join() = 0;
  /// Both.
  void Stop(std::chrono::milliseconds time_max) {
    Drain(time_max);
    Join();
  }
  virtual Progress progress() const = 0;
  /// Calls `moved` from the delivery's thread as soon as that gets to it; from the caller's once a
  /// Drain() has begun, as the thread then ends by itself. Cheap; safe from any thread.
  virtual void Ask(std::function<void()> moved) = 0;
};

}  // namespace dwell::delivery
