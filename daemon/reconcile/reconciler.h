// Reads back what the endpoint accepted, on order and on a schedule: compares it with what it holds
// now, tells what is missing or differs, and sends it again when ordered to. It catches what is
// lost on the other side of a success. Beside delivery, and less important: a few reads at a time.
#pragma once

#include <chrono>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "daemon/base/clock.h"
#include "daemon/delivery/delivery.h"
#include "daemon/ledger/ledger.h"
#include "daemon/reconcile/run.h"

namespace dwell::reconcile {

/// When it runs by itself.
struct Schedule {
  std::chrono::hours every{0};     ///< 0: never
  std::chrono::days look_back{2};  ///< the period that is read back ends now and is so long
  bool send = false;               ///< what is missing or differs goes out again
};

/// An endpoint that is read back.
struct Target {
  std::string name;             ///< "main" for the main one
  delivery::Endpoint endpoint;  ///< with its number
  /// How it is written to at present, safe from any thread; empty: as the usual way is.
  std::function<delivery::Progress()> progress;
};

/// A run over every line that went through.
struct LastRun {
  std::string endpoint;  ///< its name
  Instant began{}, ended{};
  Instant since{};  ///< of the period
  Tally tally;
};

/// Runs on its own thread with its own event loop. One run at a time; on a schedule the endpoints
/// have their turns.
class Reconciler {
 public:
  /// At least one target. Errors: those of Delivery::Start(). `ledger` and `clock` outlive it.
  static Result<std::unique_ptr<Reconciler>> Start(ledger::Ledger& ledger, const base::Clock& clock,
                                                   std::vector<Target> targets, Schedule schedule,
                                                   delivery::Means means = {});
  virtual ~Reconciler() = default;

  /// The names of the endpoints. Safe from any thread.
  virtual std::vector<std::string> endpoints() const = 0;

  /// A run, to be carried on step by step; null while another is not through and not given up.
  /// `order.endpoint` is one of endpoints(); its number is filled in. Letting go of it gives it up,
  /// without harm. Safe from any thread.
  virtual std::shared_ptr<Run> Begin(Order order) = 0;
  /// Works on it for a moment, then tells. Not again before it told. Safe from any thread.
  virtual void Next(std::shared_ptr<Run> run, std::function<void(Step)> done) = 0;

  /// Of each endpoint, in their order, the last that went through since the start, if one did.
  virtual std::vector<LastRun> last() const = 0;
  /// The wall clock may have moved: look at once whether it is time. Safe from any thread.
  virtual void Wake() = 0;
  /// Abandons what is going on and joins the thread.
  virtual void Stop() = 0;
};

}  // namespace dwell::reconcile
