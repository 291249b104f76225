// Reads configuration, policy, code maps, additions and tz data again while the daemon runs. All
// of it is right, or nothing changes.
#pragma once

#include <atomic>
#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "daemon/admin/rows.h"
#include "daemon/app/following.h"
#include "daemon/app/knowledge.h"
#include "daemon/base/clock.h"
#include "daemon/config/rereading.h"
#include "daemon/ledger/ledger.h"

namespace dwell::app {

/// What it works on; the references outlive it.
struct Surroundings {
  boost::asio::any_io_executor executor;
  store::Jobs& jobs;
  ledger::Ledger& ledger;
  const base::Clock& clock;
  const schemas::Bundled& schemas;
  std::vector<ledger::Destination> destinations;
};

/// Used on the executor's thread alone.
class Reloading {
 public:
  /// `config` and `knowledge` are what the ledger works by now; `reader` gives the configuration as
  /// it is when asked. Lines follow at once if tz data changed since the last run, or if that did
  /// not come to an end with it.
  Reloading(Surroundings surroundings, config::Config config, config::Reader reader,
            std::shared_ptr<const Knowledge> knowledge);
  ~Reloading();
  Reloading(const Reloading&) = delete;
  Reloading& operator=(const Reloading&) = delete;

  /// Reads again, works by it from then on, and has every line that is not over follow; who and why
  /// are kept with what goes out. `done` gets one JSON object as soon as the new rules count:
  ///   policy, version, tz_data, needs_restart [keys that changed and cannot change while running]
  /// or everything that is wrong with the first file that is (then nothing changes).
  void Reload(std::string by, std::string why, std::function<void(Result<std::string>)> done);
  /// See Following::Next().
  void Next(std::function<void(admin::Followed)> told) { following_.Next(std::move(told)); }

  /// Whether the code maps in use know the code.
  bool Knows(const std::string& group, const std::string& code) const;
  admin::InForce in_force() const;
  /// Whether the last reload counted or was refused; empty: there was none. Safe from any thread.
  std::optional<bool> last_went_well() const;

 private:
  struct Fresh;
  Result<Fresh> Read() const;
  void Replaced(const Fresh& fresh, const Result<void>& replaced,
                const std::function<void(Result<std::string>)>& done);
  void Refuse(const Error& error, const std::function<void(Result<std::string>)>& done);

  Surroundings surroundings_;
  config::Config config_;
  config::Reader reader_;
  std::shared_ptr<const Knowledge> knowledge_;
  Following following_;
  Instant read_at_;
  std::optional<Instant> refused_at_;
  enum class Last : std::uint8_t { kNone, kCounts, kRefused };
  std::atomic<Last> last_ = Last::kNone;
  std::vector<std::string> needs_restart_;
  std::shared_ptr<bool> alive_ = std::make_shared<bool>(true);  // for what comes back too late
};

}  // namespace dwell::app
