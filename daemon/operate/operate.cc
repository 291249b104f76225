#include "daemon/operate/operate.h"

#include <algorithm>
#include <boost/asio/io_context.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/steady_timer.hpp>
#include <mutex>
#include <thread>
#include <utility>

#include "daemon/base/log.h"
#include "daemon/base/thread_name.h"
#include "daemon/config/version.h"
#include "daemon/intake/listener.h"
#include "daemon/operate/families.h"
#include "daemon/operate/health.h"
#include "daemon/operate/inquiry.h"
#include "daemon/operate/silence.h"
#include "daemon/operate/survey.h"

namespace dwell::operate {
namespace {

namespace asio = boost::asio;
using std::chrono::milliseconds;
using Steady = std::chrono::steady_clock;

/// The way back to our thread for answers of others, which may come after we are gone.
struct Door {
  std::mutex mutex;
  asio::io_context* loop = nullptr;  // guarded by mutex; null: closed

  void Post(std::function<void()> what) {
    const std::scoped_lock lock(mutex);
    if (loop != nullptr) asio::post(*loop, std::move(what));
  }
  void Close() {
    const std::scoped_lock lock(mutex);
    loop = nullptr;
  }
};

struct Watched {
  Worker worker;
  std::string endpoint;
  std::int64_t number = 0;  ///< of the endpoint, for the log
  AskThread ask;
};

}  // namespace

/// Everything but the constructor and the end happens on the one thread of `loop`.
struct Operate::Impl final : intake::Service {
  Impl(Services services_in, Options options_in)
      : services(std::move(services_in)),
        options(std::move(options_in)),
        beat_timer(loop),
        survey_timer(loop),
        watched(WhomToWatch()),
        watch(watched.size(), Steady::now(), options.stuck_after),
        silences(options.silent_after),
        started_at(services.clock->Now()) {
    door->loop = &loop;
    if (options.watchdog) {
      pulse.emplace(*options.watchdog, Steady::now());
      const auto quarter = std::chrono::duration_cast<milliseconds>(*options.watchdog / 4);
      options.beat = std::clamp(quarter, milliseconds(1), options.beat);
    }
  }

  // In the order of being built: sessions of the listener live in the loop.
  asio::io_context loop{1};
  std::shared_ptr<Door> door = std::make_shared<Door>();
  Services services;
  Options options;
  asio::steady_timer beat_timer, survey_timer;
  std::vector<Watched> watched;
  Watch watch;
  Silences silences;
  std::optional<Pulse> pulse;
  Instant started_at;
  std::optional<std::uint64_t> free_bytes;  ///< as of the store's last answer
  bool surveying = false;
  std::vector<std::function<void(std::optional<StoreFacts>)>> waiting;  ///< for the survey
  std::unique_ptr<intake::Listener> listener;
  std::uint16_t port = 0;
  std::thread thread;

  std::vector<Watched> WhomToWatch() {
    std::vector<Watched> all;
    all.push_back({Worker::kNet, {}, 0, [net = services.net](std::function<void()> moved) {
                     asio::post(net, std::move(moved));
                   }});
    all.push_back({Worker::kStore, {}, 0, [this](std::function<void()> moved) {
                     AskStore(std::move(moved));
                   }});
    all.push_back({Worker::kAlarm, {}, 0, services.alarm});
    std::int64_t number = 0;
    for (const Delivery& delivery : services.deliveries) {
      all.push_back({Worker::kDelivery, delivery.endpoint, number++, delivery.ask});
    }
    return all;
  }

  Result<void> Listen() {
    if (options.address.empty()) return {};
    intake::ListenerOptions listening;
    listening.address = options.address;
    listening.port = options.port;
    listening.connections_max = limits::kMonitorsMax;
    listening.connection.body_bytes_max = limits::kMonitorBodyBytesMax;
    auto opened =
        intake::Listener::Open(loop.get_executor(), *this, *services.clock, std::move(listening));
    if (!opened) return opened.error();
    listener = std::move(*opened);
    port = listener->port();
    return {};
  }

  void Run() {
    thread = std::thread([this] {
      base::NameThread("operate");
      Beat();
      loop.run();
    });
  }

  void End() {
    door->Close();
    asio::post(loop, [this] {
      listener.reset();
      loop.stop();
    });
    thread.join();
  }

  // The watch.

  /// The store's answer also says how much room there is and who sent when, so that nobody else
  /// waits for the disk.
  void AskStore(std::function<void()> moved) {
    struct StoreAnswer {
      std::optional<std::uint64_t> free;
      std::vector<store::SourceRecord> sources;
    };
    auto answer = std::make_shared<StoreAnswer>();
    store::Job job;
    job.goes_first = true;
    job.work = [answer](store::Store& store) -> Result<void> {
      answer->free = store.FreeBytes();
      answer->sources = store.sources();
      return {};
    };
    job.done = [this, door = door, answer, moved = std::move(moved)](const Result<void>&) {
      door->Post([this, answer] {
        free_bytes = answer->free;
        Tell(silences.Look(answer->sources, services.clock->Now()));
      });
      moved();
    };
    services.writer->Post(std::move(job));
  }

  void Beat() {
    const SteadyTime now = Steady::now();
    for (const std::size_t whom : watch.Ask(now)) {
      watched[whom].ask([this, door = door, whom] {
        door->Post([this, whom] { watch.Moved(whom, Steady::now()); });
      });
    }
    for (const Watch::Change& change : watch.Look(now)) Tell(change);
    if (pulse && pulse->Beat(watch, now)) services.ping();
    const Facts facts = KnownFacts();
    services.pipeline->SetHealth(Answer(Question::kLive, facts, false).is_well,
                                 Answer(Question::kReady, facts, false).is_well);
    beat_timer.expires_after(options.beat);
    beat_timer.async_wait([this](const boost::system::error_code& error) {
      if (!error) Beat();
    });
  }

  void Tell(const Watch::Change& change) {
    const Watched& who = watched[change.worker];
    const auto level = change.is_stuck ? log::Level::kError : log::Level::kWarning;
    log::Write(
        level, change.is_stuck ? log::Literal("thread-stuck") : log::Literal("thread-moves"),
        {{"thread", who.worker}, {"endpoint", who.number}, {"silent_ms", change.silent.count()}});
  }

  /// The log takes no text from outside: who it is tells `dwell status`.
  void Tell(const std::vector<Silences::Change>& changes) {
    for (const Silences::Change& change : changes) {
      const auto level = change.is_silent ? log::Level::kError : log::Level::kWarning;
      log::Write(level,
                 change.is_silent ? log::Literal("source-silent") : log::Literal("source-heard"),
                 {{"last_event_at", change.last_event_at},
                  {"quiet_min", change.quiet.count()},
                  {"expected_within_min", change.expected.count()},
                  {"silent_sources", silences.count()}});
    }
  }

  // Answers.

  /// All but what only the store's thread knows.
  Facts KnownFacts() const {
    Facts facts;
    facts.version = config::kVersion;
    facts.fhir_version = services.fhir_version;
    facts.now = services.clock->Now();
    facts.started_at = started_at;
    facts.steady = Steady::now();
    facts.draining = services.pipeline->draining();
    facts.store_stopped = services.pipeline->store_stopped();
    facts.free_bytes = free_bytes;
    facts.events = services.pipeline->tally();
    facts.jobs_waiting = services.writer->waiting();
    facts.caught_up_to = services.caught_up_to();
    facts.reloaded = services.reloaded();
    facts.clock_steps = services.clock->steps();
    facts.wall_ahead = services.clock->wall_ahead();
    facts.silent_after = options.silent_after;
    facts.endpoints = services.endpoints();
    for (std::size_t i = 0; i < watched.size(); ++i) {
      facts.workers.push_back({watched[i].worker, watched[i].endpoint, watch.is_stuck(i)});
    }
    return facts;
  }

  intake::Plan Judge(const intake::GateHead& head) override {
    intake::Plan plan;
    Inquiry inquiry = ReadInquiry(head);
    if (inquiry.refusal) {
      plan.refusal = std::move(inquiry.refusal);
      return plan;
    }
    plan.answer = [this, what = inquiry.what, verbose = inquiry.verbose,
                   exposition = inquiry.exposition](const std::string& /*body*/,
                                                    const intake::Replies& done) {
      if (what == Inquiry::What::kMetrics) return TellMetrics(exposition, done);
      const auto question = what == Inquiry::What::kLive ? Question::kLive : Question::kReady;
      const Health health = Answer(question, KnownFacts(), verbose);
      done(intake::PlainText(health.is_well ? 200 : 503, health.text));
    };
    return plan;
  }

  /// Whoever asks while a survey is on its way shares it. One that takes too long is not waited
  /// for.
  void TellMetrics(Exposition exposition, const intake::Replies& done) {
    waiting.emplace_back([this, exposition, done](std::optional<StoreFacts> found) {
      Facts facts = KnownFacts();
      facts.store = std::move(found);
      intake::Reply reply;
      reply.content_type = ContentTypeOf(exposition);
      reply.body = Expose(FamiliesOf(facts), exposition);
      done(std::move(reply));
    });
    if (waiting.size() > 1) return;
    survey_timer.expires_after(options.survey_time_max);
    survey_timer.async_wait([this](const boost::system::error_code& error) {
      if (!error) TellAll(std::nullopt);
    });
    if (!std::exchange(surveying, true)) AskForSurvey();
  }

  void AskForSurvey() {
    auto found = std::make_shared<std::optional<StoreFacts>>();
    store::Job job;
    job.goes_first = true;
    job.work = [found](store::Store& store) -> Result<void> {
      auto facts = Survey(store);
      if (!facts) return facts.error();
      *found = std::move(*facts);
      return {};
    };
    job.done = [this, door = door, found](const Result<void>& committed) {
      if (committed.has_error()) found->reset();
      door->Post([this, found] {
        surveying = false;
        TellAll(std::move(*found));
      });
    };
    services.writer->Post(std::move(job));
  }

  void TellAll(std::optional<StoreFacts> found) {
    survey_timer.cancel();
    for (const auto& tell : std::exchange(waiting, {})) tell(found);
  }
};

Operate::Operate(std::unique_ptr<Impl> impl) : impl_(std::move(impl)) {}

Operate::~Operate() {
  if (impl_->thread.joinable()) impl_->End();
}

Result<std::unique_ptr<Operate>> Operate::Start(Services services, Options options) {
  auto impl = std::make_unique<Impl>(std::move(services), std::move(options));
  if (auto listening = impl->Listen(); !listening) return listening.error();
  impl->Run();
  return std::unique_ptr<Operate>(new Operate(std::move(impl)));
}

std::uint16_t Operate::port() const { return impl_->port; }

}  // namespace dwell::operate
