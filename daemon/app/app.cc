#include "daemon/app/app.h"

#include <unistd.h>

#include <atomic>
#include <boost/asio/executor_work_guard.hpp>
#include <boost/asio/post.hpp>
#include <cstdlib>
#include <thread>

#include "daemon/admin/admin.h"
#include "daemon/alarm/alarm.h"
#include "daemon/app/knowledge.h"
#include "daemon/app/notify.h"
#include "daemon/app/reloading.h"
#include "daemon/config/version.h"
#include "daemon/delivery/configured.h"
#include "daemon/delivery/delivery.h"
#include "daemon/intake/listener.h"
#include "daemon/intake/ward_service.h"
#include "daemon/ledger/ledger.h"
#include "daemon/operate/operate.h"
#include "daemon/reconcile/reconciler.h"
#include "daemon/retention/retention.h"
#include "daemon/search/search.h"
#include "daemon/store/writer.h"
#include "schemas/bundled.h"

namespace dwell::app {
namespace {

namespace asio = boost::asio;

using FatalHandler = std::function<void(const Error&)>;

reconcile::Schedule ScheduleOf(const config::Config& config) {
  reconcile::Schedule schedule;
  schedule.every = std::chrono::hours(config.reconcile.every_h);
  schedule.look_back = std::chrono::days(config.reconcile.look_back_days);
  schedule.send = config.reconcile.send;
  return schedule;
}

/// What the configuration says of sources that are not heard, if it does.
std::optional<std::chrono::minutes> SilentAfter(const config::Config& config) {
  const std::int64_t limit_min = config.operate.silent_after_min;
  return limit_min > 0 ? std::optional(std::chrono::minutes(limit_min)) : std::nullopt;
}

}  // namespace

/// An endpoint that bundles are made for and sent to.
struct Way {
  config::Config::Endpoint endpoint;
  std::int64_t number = 0;                   ///< in the store
  std::optional<delivery::Identity> in_use;  ///< as the store keeps it
  std::unique_ptr<delivery::Delivery> delivery;
};

/// Of one endpoint among several it is said which.
Error NamedError(const Way& way, const Error& error) {
  if (way.number == 0) return error;
  return {error.kind(), "endpoint " + way.endpoint.name + ": " + error.message()};
}

/// Every endpoint with its number. A name that was there before has the one it had.
Result<std::vector<Way>> NumberEndpoints(store::Store& store, const config::Config& config) {
  std::vector<Way> ways;
  if (auto begun = store.Begin(); !begun) return begun.error();
  for (config::Config::Endpoint& endpoint : config::AllEndpoints(config)) {
    const auto number = store.EndpointNumber(endpoint.name);
    if (!number) {
      store.Rollback();
      return number.error();
    }
    const auto& known = store.endpoints().at(static_cast<std::size_t>(*number));
    ways.push_back({std::move(endpoint), *number, delivery::IdentityOf(known.identity), nullptr});
  }
  if (auto committed = store.Commit(); !committed) return committed.error();
  return ways;
}

/// In the order of being built; taken down in the opposite order, but for what Stop() says.
struct App::Parts {
  Parts(asio::io_context& io_in, const base::Clock& clock_in, schemas::Bundled schemas_in,
        std::shared_ptr<const Knowledge> knowledge_in)
      : io(io_in),
        clock(clock_in),
        schemas(std::move(schemas_in)),
        knowledge(std::move(knowledge_in)),
        work(io.get_executor()) {}

  asio::io_context& io;
  const base::Clock& clock;
  const schemas::Bundled schemas;
  const std::shared_ptr<const Knowledge> knowledge;  ///< of the start
  asio::executor_work_guard<asio::io_context::executor_type> work;
  std::unique_ptr<store::Writer> writer;
  std::unique_ptr<ledger::Ledger> ledger;
  std::vector<Way> ways;  ///< one for each endpoint
  std::unique_ptr<Reloading> reloading;
  std::unique_ptr<reconcile::Reconciler> reconciler;
  std::unique_ptr<alarm::Alarm> alarm;
  std::unique_ptr<retention::Retention> retention;
  std::unique_ptr<intake::Pipeline> pipeline;
  std::unique_ptr<intake::WardService> wards;
  std::shared_ptr<net::TlsSource> tls;  ///< of the listeners; null: plain
  std::unique_ptr<intake::Listener> listener;
  std::unique_ptr<admin::Admin> admin;
  std::unique_ptr<operate::Operate> operate;
  std::unique_ptr<search::Search> search;  ///< null: nobody may search
  std::thread stopping;                    ///< waits for delivery's end

  std::vector<ledger::Destination> Destinations() const {
    std::vector<ledger::Destination> destinations;
    for (const Way& way : ways) {
      const auto& types = way.endpoint.types;
      destinations.push_back({way.number, {types.begin(), types.end()}});
    }
    return destinations;
  }

  Result<void> OpenStore(const config::Config& config, FatalHandler on_fatal) {
    auto store = store::Store::Open(config.store.path);
    if (!store) return store.error();
    auto numbered = NumberEndpoints(**store, config);
    if (!numbered) return numbered.error();
    ways = std::move(*numbered);
    writer = std::make_unique<store::Writer>(
        std::move(*store), [this, on_fatal = std::move(on_fatal)](const Error& error) {
          asio::post(io, [this, on_fatal, error] {
            if (pipeline) pipeline->StoreStopped();
            on_fatal(error);
          });
        });
    ledger = std::make_unique<ledger::Ledger>(*writer, clock,
                                              RulesOf(knowledge, schemas, config, Destinations()));
    return {};
  }

  Result<void> OpenDelivery(const config::Config& config) {
    std::vector<reconcile::Target> targets;
    for (Way& way : ways) {
      delivery::Endpoint endpoint = delivery::EndpointOf(config, way.endpoint);
      endpoint.number = way.number;
      endpoint.in_use = way.in_use;
      auto started = delivery::Delivery::Start(*writer, clock, endpoint);
      if (!started) return NamedError(way, started.error());
      way.delivery = std::move(*started);
      ledger->OnNews([to = way.delivery.get()] { to->Wake(); });
      targets.push_back({way.endpoint.name, std::move(endpoint),
                         [to = way.delivery.get()] { return to->progress(); }});
    }
    alarm = std::make_unique<alarm::Alarm>(*ledger, clock);
    const retention::Lifetimes lifetimes{std::chrono::days(config.store.keep_delivered_days),
                                         std::chrono::days(config.store.keep_closed_lines_days)};
    retention = std::make_unique<retention::Retention>(*writer, *ledger, clock, lifetimes);
    auto reading =
        reconcile::Reconciler::Start(*ledger, clock, std::move(targets), ScheduleOf(config));
    if (!reading) return reading.error();
    reconciler = std::move(*reading);
    return {};
  }

  void OpenReloading(const config::Config& config, config::Reader reader) {
    reloading = std::make_unique<Reloading>(
        Surroundings{io.get_executor(), *writer, *ledger, clock, schemas, Destinations()}, config,
        std::move(reader), knowledge);
  }

  Result<void> OpenIntake(const config::Config& config) {
    pipeline = std::make_unique<intake::Pipeline>(*ledger, *writer, schemas);
    intake::ListenerOptions options;
    options.address = config.intake.address;
    options.port = static_cast<std::uint16_t>(config.intake.port);
    if (!config.intake.certificate.empty()) {
      auto opened_tls = net::TlsSource::Open(
          net::TlsSource::End::kServer, {config.intake.certificate, config.intake.private_key, {}});
      if (!opened_tls) return opened_tls.error();
      options.tls = tls = std::make_shared<net::TlsSource>(std::move(*opened_tls));
    }
    wards = std::make_unique<intake::WardService>(*pipeline);
    auto opened = intake::Listener::Open(io.get_executor(), *wards, clock, std::move(options));
    if (!opened) return opened.error();
    listener = std::move(*opened);
    return {};
  }

  Result<void> OpenSearch(const config::Config& config) {
    const auto at = config::ReadListen(config.search.listen);
    if (!at) return {};
    search::SearchService::Options options;
    options.release = *FhirReleaseOf(config.endpoint.fhir_version);
    options.version = config::kVersion;
    intake::ListenerOptions listen;
    listen.address = at->address;
    listen.port = at->port;
    listen.tls = tls;
    auto opened = search::Search::Open(io.get_executor(), *ledger, clock, options, listen);
    if (!opened) return opened.error();
    search = std::move(*opened);
    return {};
  }

  Result<void> OpenAdmin(const config::Config& config) {
    admin::Services services;
    services.pipeline = pipeline.get();
    services.ledger = ledger.get();
    services.writer = writer.get();
    services.clock = &clock;
    services.zone = config.site.zone;
    services.silent_after = SilentAfter(config);
    services.reconciler = reconciler.get();
    services.endpoints = [this] {
      std::vector<admin::EndpointState> states;
      for (const Way& way : ways) states.push_back({way.endpoint.name, way.delivery->progress()});
      return states;
    };
    services.knows = [this](const std::string& group, const std::string& code) {
      return reloading->Knows(group, code);
    };
    services.reload = [this](std::string by, std::string why, auto done) {
      reloading->Reload(std::move(by), std::move(why), std::move(done));
    };
    services.next_followed = [this](auto told) { reloading->Next(std::move(told)); };
    services.in_force = [this] { return reloading->in_force(); };
    services.caught_up_to = [this] {
      alarm->Wake();  // somebody who asks again and again soon hears of a wall clock that was set
      return CaughtUpTo();
    };
    services.cleaned_up = [this] {
      retention->Wake();  // as above
      reconciler->Wake();
      return retention->last();
    };
    auto opened = admin::Admin::Open(io.get_executor(), config.admin.socket, std::move(services));
    if (!opened) return opened.error();
    admin = std::move(*opened);
    return {};
  }

  std::optional<Instant> CaughtUpTo() const {
    const Instant at = alarm->caught_up_to();
    if (at == Instant::min()) return std::nullopt;
    return at;
  }

  Result<void> OpenOperate(const config::Config& config) {
    operate::Services services;
    services.net = io.get_executor();
    services.writer = writer.get();
    services.pipeline = pipeline.get();
    services.clock = &clock;
    services.alarm = [this](std::function<void()> moved) { alarm->Ask(std::move(moved)); };
    for (const Way& way : ways) {
      services.deliveries.push_back(
          {way.endpoint.name,
           [to = way.delivery.get()](std::function<void()> moved) { to->Ask(std::move(moved)); }});
    }
    services.endpoints = [this] {
      std::vector<operate::EndpointFacts> states;
      for (const Way& way : ways) states.push_back({way.endpoint.name, way.delivery->progress()});
      return states;
    };
    services.caught_up_to = [this] { return CaughtUpTo(); };
    services.reloaded = [this] { return reloading->last_went_well(); };
    services.ping = [] { Notify("WATCHDOG=1"); };
    services.fhir_version = config.endpoint.fhir_version;
    operate::Options options;
    if (const auto at = config::ReadListen(config.operate.listen)) {
      options.address = at->address;
      options.port = at->port;
    }
    options.silent_after = SilentAfter(config);
    options.watchdog = operate::WatchdogTime(std::getenv("WATCHDOG_USEC"),
                                             std::getenv("WATCHDOG_PID"), ::getpid());
    auto started = operate::Operate::Start(std::move(services), std::move(options));
    if (!started) return started.error();
    operate = std::move(*started);
    return {};
  }

  /// All at once, so that together they take no longer than one.
  void DrainAll(std::chrono::milliseconds time_max) {
    for (const Way& way : ways) {
      if (way.delivery) way.delivery->Drain(time_max);
    }
  }

  void StopDelivery(std::chrono::milliseconds time_max, std::function<void()> done) {
    DrainAll(time_max);
    stopping = std::thread([this, done = std::move(done)] {
      for (const Way& way : ways) way.delivery->Join();
      asio::post(io, done);
    });
  }

  void Stop(std::chrono::milliseconds time_max) {
    if (stopping.joinable()) {
      DrainAll(std::chrono::milliseconds(0));  // waits no longer
      stopping.join();
    }
    operate.reset();
    admin.reset();
    reloading.reset();
    search.reset();
    listener.reset();
    alarm.reset();
    retention.reset();
    if (reconciler) reconciler->Stop();
    DrainAll(time_max);
    for (const Way& way : ways) {
      if (way.delivery) way.delivery->Join();
    }
    writer.reset();  // finishes its jobs, which may still call the ledger and wake deliveries
    ledger.reset();
    reconciler.reset();  // as delivery: what the ledger answers late must find it
    ways.clear();
  }
};

App::App(std::unique_ptr<Parts> parts) : parts_(std::move(parts)) {}

App::~App() { Stop(std::chrono::milliseconds(0)); }

Result<std::unique_ptr<App>> App::Start(asio::io_context& io, const config::Config& config,
                                        const base::Clock& clock, config::Reader reader,
                                        FatalHandler on_fatal) {
  auto bundled = schemas::Bundled::Load(*FhirReleaseOf(config.endpoint.fhir_version));
  if (!bundled) return bundled.error();
  auto knowledge = LoadKnowledge(config, *bundled);
  if (!knowledge) return knowledge.error();
  std::unique_ptr<App> app(
      new App(std::make_unique<Parts>(io, clock, std::move(*bundled), std::move(*knowledge))));
  Parts& parts = *app->parts_;
  if (auto opened = parts.OpenStore(config, std::move(on_fatal)); !opened) return opened.error();
  if (auto opened = parts.OpenDelivery(config); !opened) return opened.error();
  parts.OpenReloading(config, std::move(reader));
  if (auto opened = parts.OpenIntake(config); !opened) return opened.error();
  if (auto opened = parts.OpenSearch(config); !opened) return opened.error();
  if (auto opened = parts.OpenAdmin(config); !opened) return opened.error();
  if (auto opened = parts.OpenOperate(config); !opened) return opened.error();
  return app;
}

std::uint16_t App::port() const { return parts_->listener->port(); }

std::uint16_t App::operate_port() const { return parts_->operate->port(); }

std::uint16_t App::search_port() const { return parts_->search ? parts_->search->port() : 0; }

void App::Reload(std::function<void()> done) {
  parts_->reloading->Reload("dwelld", "told by SIGHUP that files changed",
                            [done = std::move(done)](const Result<std::string>&) { done(); });
}

void App::Drain(std::function<void()> done) {
  parts_->pipeline->Drain();
  parts_->listener->Drain(std::move(done));
}

void App::StopDelivery(std::chrono::milliseconds time_max, std::function<void()> done) {
  parts_->StopDelivery(time_max, std::move(done));
}

void App::Stop(std::chrono::milliseconds time_max) { parts_->Stop(time_max); }

}  // namespace dwell::app
