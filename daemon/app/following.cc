#include "daemon/app/following.h"

#include <boost/asio/post.hpp>
#include <boost/asio/steady_timer.hpp>
#include <optional>
#include <utility>
#include <vector>

#include "daemon/base/limits.h"
#include "daemon/base/log.h"

namespace dwell::app {
namespace {

namespace asio = boost::asio;
using admin::Followed;

constexpr std::string_view kZoneNote = "zone";
constexpr std::string_view kOwedNote = "lines-follow";  // who and why, a line each; empty: nothing
constexpr const char* kOurselves = "dwelld";

/// What the store remembers, brought up to date.
struct Memory {
  std::string zone_before, zone_now;
  std::string owed;

  static std::string_view FirstWords(std::string_view mark) {
    return mark.substr(0, mark.rfind(' '));
  }
  /// All but the version of the tz data, which says nothing about this zone.
  bool rules_changed() const { return FirstWords(zone_before) != FirstWords(zone_now); }
};

/// `owed`: what begins now; empty: what there is to begin with.
Result<void> BringUpToDate(store::Store& store, const std::string& owed, Memory& memory) {
  auto zone = store.FindNote(kZoneNote);
  if (zone.has_error()) return zone.error();
  memory.zone_before = std::move(*zone);
  auto before = store.FindNote(kOwedNote);
  if (before.has_error()) return before.error();
  memory.owed = owed.empty() ? *before : owed;
  // Lines of which nobody knows what they were computed by are computed again.
  if (memory.owed.empty() && memory.rules_changed() && store.counts().lines > 0) {
    memory.owed = std::string(kOurselves) + "\nthe rules of the time zone changed: " +
                  (memory.zone_before.empty() ? "unknown" : memory.zone_before) + " -> " +
                  memory.zone_now;
  }
  if (memory.zone_before != memory.zone_now) {
    const auto kept = store.KeepNote(kZoneNote, memory.zone_now);
    if (kept.has_error()) return kept.error();
  }
  if (memory.owed == *before) return {};
  return store.KeepNote(kOwedNote, memory.owed);
}

void LogZone(const Memory& memory) {
  if (memory.zone_before.empty() || memory.zone_before == memory.zone_now) return;
  const Error what(ErrorKind::kConfig, memory.zone_before + " -> " + memory.zone_now);
  log::Write(log::Level::kWarning, "tz-data-changed",
             {{"what", what}, {"rules_changed", memory.rules_changed()}});
}

}  // namespace

std::string ZoneMark::Text() const {
  return zone + " " + std::to_string(fingerprint) + " " + tz_version;
}

struct Following::State : std::enable_shared_from_this<State> {
  enum class Step : std::uint8_t { kNone, kRemember, kPage, kForget };

  State(asio::any_io_executor executor_in, store::Jobs& jobs_in, ledger::Ledger& ledger_in)
      : executor(std::move(executor_in)), jobs(jobs_in), ledger(ledger_in), pause(executor) {}

  asio::any_io_executor executor;
  store::Jobs& jobs;
  ledger::Ledger& ledger;
  asio::steady_timer pause;
  bool stopped = false;
  bool in_flight = false;
  std::uint64_t beginning = 0;  // counts them, so that what belongs to an earlier one is known
  Step step = Step::kNone;
  std::string zone, owed;
  ledger::RemapOrder order;
  Followed followed;
  std::vector<std::function<void(Followed)>> waiting;

  void Start(const ZoneMark& mark, std::string owed_now) {
    zone = mark.Text();
    owed = std::move(owed_now);
    ++beginning;
    step = Step::kRemember;
    followed = {};
    followed.over = false;
    pause.cancel();
    TakeStep();
  }

  void TakeStep() {
    if (stopped || in_flight || step == Step::kNone) return;
    in_flight = true;
    if (step == Step::kRemember) return Remember();
    if (step == Step::kPage) return TakePage();
    Forget();
  }

  /// Calls `next` with the result on the executor, unless another beginning came between.
  template <class T>
  auto Then(void (State::*next)(const T&)) {
    return [self = shared_from_this(), next, mine = beginning](const T& result) {
      asio::post(self->executor, [self, next, mine, result] {
        self->in_flight = false;
        if (!self->stopped && mine == self->beginning) {
          (self.get()->*next)(result);
        }
        self->TakeStep();
      });
    };
  }

  void Remember() {
    auto memory = std::make_shared<Memory>();
    memory->zone_now = zone;
    store::Job job;
    job.work = [memory, owed = owed](store::Store& store) {
      return BringUpToDate(store, owed, *memory);
    };
    job.done = [memory, then = Then(&State::Remembered)](const Result<void>& committed) {
      then(committed ? Result<Memory>(*memory) : Result<Memory>(committed.error()));
    };
    jobs.Post(std::move(job));
  }

  void Remembered(const Result<Memory>& memory) {
    if (!memory) return WaitFor(memory.error().message());
    LogZone(*memory);
    if (memory->owed.empty()) return End();
    const std::size_t line_end = memory->owed.find('\n');
    order = {};
    order.open_only = order.send = true;
    order.by = memory->owed.substr(0, line_end);
    order.why = line_end == std::string::npos ? "" : memory->owed.substr(line_end + 1);
    step = Step::kPage;
  }

  void TakePage() { ledger.Remap(order, Then(&State::PageTaken)); }

  void PageTaken(const Result<ledger::RemapPage>& page) {
    if (!page) return WaitFor(page.error().message());
    followed.sums.Add(*page);
    followed.of = page->of;
    order.after = page->after;
    if (!page->refusal.empty()) return WaitFor(page->refusal);
    followed.waits_for.clear();
    if (!page->more) step = Step::kForget;
    Tell();
  }

  void Forget() {
    store::Job job;
    job.work = [](store::Store& store) { return store.KeepNote(kOwedNote, ""); };
    job.done = Then(&State::Forgotten);
    jobs.Post(std::move(job));
  }

  void Forgotten(const Result<void>& committed) {
    if (!committed) return WaitFor(committed.error().message());
    log::Write(log::Level::kInfo, "lines-followed-the-rules",
               {{"lines", followed.sums.chosen},
                {"deliveries", followed.sums.sent},
                {"troubles", followed.sums.troubles}});
    End();
  }

  void End() {
    step = Step::kNone;
    followed.over = true;
    Tell();
  }

  /// Full disk, full queue: the same step again, later.
  void WaitFor(const std::string& why) {
    if (followed.waits_for.empty()) {
      log::Write(log::Level::kWarning, "lines-wait-to-follow",
                 {{"why", Error(ErrorKind::kFull, why)}});
    }
    followed.waits_for = why;
    in_flight = true;  // until the pause is over
    pause.expires_after(limits::kFollowingPause);
    pause.async_wait([self = shared_from_this()](const boost::system::error_code& /*cancelled*/) {
      self->in_flight = false;
      self->TakeStep();
    });
    Tell();
  }

  void Tell() {
    for (const auto& told : std::exchange(waiting, {})) told(followed);
  }
};

Following::Following(asio::any_io_executor executor, store::Jobs& jobs, ledger::Ledger& ledger)
    : state_(std::make_shared<State>(std::move(executor), jobs, ledger)) {}

Following::~Following() {
  state_->stopped = true;
  state_->pause.cancel();
  state_->waiting.clear();
}

void Following::Resume(const ZoneMark& zone) { state_->Start(zone, {}); }

void Following::Begin(const ZoneMark& zone, std::string by, std::string why) {
  state_->Start(zone, std::move(by) + "\n" + std::move(why));
}

void Following::Next(std::function<void(Followed)> told) {
  if (state_->followed.over) return told(state_->followed);
  state_->waiting.push_back(std::move(told));
}

const Followed& Following::state() const { return state_->followed; }

}  // namespace dwell::app
