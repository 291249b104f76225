#include "daemon/operate/families.h"

#include <algorithm>
#include <array>
#include <utility>

#include "daemon/base/limits.h"
#include "daemon/operate/health.h"
#include "schemas/base/check.h"

namespace dwell::operate {
namespace {

using Samples = std::vector<Sample>;

/// One row: a family and where its samples come from.
struct Row {
  std::string_view name;
  MetricType type;
  std::string_view unit;
  std::string_view help;
  Samples (*samples)(const Facts&);
};

Samples One(std::string value) { return {{{}, std::move(value)}}; }
Samples One(std::uint64_t value) { return One(NumberText(value)); }
Samples Truth(bool value) { return One(std::uint64_t{value}); }

/// Names of intake::EventEnd that were refused, as labels.
constexpr std::array<std::pair<intake::EventEnd, std::string_view>, 6> kReasons{{
    {intake::EventEnd::kNotJson, "not-json"},
    {intake::EventEnd::kTooLarge, "too-large"},
    {intake::EventEnd::kContract, "contract"},
    {intake::EventEnd::kContradiction, "contradiction"},
    {intake::EventEnd::kConflict, "conflict"},
    {intake::EventEnd::kNotNow, "not-now"},
}};
constexpr std::array<std::pair<intake::EventEnd, std::string_view>, 2> kAnswers{{
    {intake::EventEnd::kStored, "stored"},
    {intake::EventEnd::kRepeated, "repeated"},
}};

template <class Table>
Samples EventsBy(const Facts& facts, std::string_view label, const Table& table) {
  Samples samples;
  for (const auto& [end, name] : table) {
    samples.push_back(
        {{{label, std::string(name)}}, NumberText(facts.events[static_cast<std::size_t>(end)])});
  }
  return samples;
}

Samples BundlesByState(const Facts& facts) {
  Samples samples;
  if (!facts.store) return samples;
  using State = store::DeliveryState;
  for (const store::EndpointRecord& endpoint : facts.store->endpoints) {
    const std::pair<State, std::uint64_t> counts[] = {{State::kReady, endpoint.ready},
                                                      {State::kInProgress, endpoint.in_progress},
                                                      {State::kCompleted, endpoint.completed},
                                                      {State::kOnHold, endpoint.on_hold},
                                                      {State::kCancelled, endpoint.cancelled}};
    for (const auto& [state, count] : counts) {
      samples.push_back(
          {{{"endpoint", endpoint.name}, {"state", std::string(store::DeliveryStateName(state))}},
           NumberText(count)});
    }
  }
  return samples;
}

Samples DeliveriesByOutcome(const Facts& facts) {
  Samples samples;
  for (const EndpointFacts& endpoint : facts.endpoints) {
    const delivery::Progress& progress = endpoint.progress;
    const std::pair<const char*, std::uint64_t> outcomes[] = {
        {"completed", progress.completed},
        {"on-hold", progress.refused},
        {"again", progress.again - progress.paused - progress.unknown},
        {"endpoint-down", progress.paused},
        {"target-unknown", progress.unknown}};
    for (const auto& [outcome, count] : outcomes) {
      samples.push_back({{{"endpoint", endpoint.name}, {"outcome", outcome}}, NumberText(count)});
    }
  }
  return samples;
}

/// A sample for each endpoint of the configuration for which `value` gives a text.
template <class Value>
Samples ByEndpoint(const Facts& facts, Value value) {
  Samples samples;
  for (const EndpointFacts& endpoint : facts.endpoints) {
    std::string text = value(endpoint.progress);
    if (!text.empty()) samples.push_back({{{"endpoint", endpoint.name}}, std::move(text)});
  }
  return samples;
}

Samples StuckThreads(const Facts& facts) {
  Samples samples;
  for (const WorkerFacts& worker : facts.workers) {
    Sample sample{{{"thread", std::string(WorkerName(worker.worker))}},
                  worker.is_stuck ? "1" : "0"};
    if (!worker.endpoint.empty()) sample.labels.push_back({"endpoint", worker.endpoint});
    samples.push_back(std::move(sample));
  }
  return samples;
}

Samples LastEvents(const Facts& facts) {
  Samples samples;
  if (!facts.store) return samples;
  for (const store::SourceRecord& source : facts.store->sources) {
    samples.push_back({{{"source", source.name}}, TimestampText(source.last_event_at)});
  }
  return samples;
}

Samples SinceLastEvents(const Facts& facts) {
  Samples samples;
  if (!facts.store) return samples;
  for (const store::SourceRecord& source : facts.store->sources) {
    const auto since = std::max(facts.now - source.last_event_at, std::chrono::milliseconds(0));
    samples.push_back({{{"source", source.name}}, SecondsText(since)});
  }
  return samples;
}

Samples SilentSources(const Facts& facts) {
  Samples samples;
  if (!facts.store) return samples;
  for (const store::SourceRecord& source : facts.store->sources) {
    if (!store::MayBeQuietFor(source, facts.silent_after)) continue;
    const bool is_silent = store::IsSilent(source, facts.silent_after, facts.now);
    samples.push_back({{{"source", source.name}}, is_silent ? "1" : "0"});
  }
  return samples;
}

/// One sample of what the store's thread said.
template <class Value>
Samples OfStore(const Facts& facts, Value value) {
  return facts.store ? One(std::uint64_t{value(*facts.store)}) : Samples();
}

Samples OldestWaiting(const Facts& facts) {
  if (!facts.store) return {};
  const auto& oldest = facts.store->counts.oldest_waiting;
  const auto age = oldest ? facts.now - *oldest : std::chrono::milliseconds(0);
  return One(SecondsText(std::max(age, std::chrono::milliseconds(0))));
}

using enum MetricType;

constexpr Row kRows[] = {
    {"dwelld_build", kInfo, "", "The running program.",
     [](const Facts& f) {
       return Samples{{{{"version", f.version}, {"fhir_version", f.fhir_version}}, "1"}};
     }},
    {"dwelld_start_timestamp_seconds", kGauge, "seconds", "When the program began to take events.",
     [](const Facts& f) { return One(TimestampText(f.started_at)); }},
    {"dwelld_ready", kGauge, "", "1 while new events are taken, as /readyz says.",
     [](const Facts& f) { return Truth(Answer(Question::kReady, f, false).is_well); }},
    {"dwelld_thread_stuck", kGauge, "", "1 while a thread does not move, as /livez says.",
     StuckThreads},
    {"dwelld_store_answers", kGauge, "",
     "1 if the store's thread answered this question in time; otherwise what it knows is missing.",
     [](const Facts& f) { return Truth(f.store.has_value()); }},
    {"dwelld_events_accepted", kCounter, "",
     "Events answered with success since the start: stored, or the same as before.",
     [](const Facts& f) { return EventsBy(f, "answer", kAnswers); }},
    {"dwelld_events_refused", kCounter, "",
     "Events refused since the start, by the class of the reason.",
     [](const Facts& f) { return EventsBy(f, "reason", kReasons); }},
    {"dwelld_source_last_event_timestamp_seconds", kGauge, "seconds",
     "When the newest stored event of a source came in.", LastEvents},
    {"dwelld_source_since_last_event_seconds", kGauge, "seconds",
     "How long a source has not been heard.", SinceLastEvents},
    {"dwelld_source_silent", kGauge, "",
     "1 while a source has not been heard for longer than it may be quiet; missing while that is "
     "not known.",
     SilentSources},
    {"dwelld_store_events", kGauge, "", "Events ever stored.",
     [](const Facts& f) { return OfStore(f, [](const auto& s) { return s.counts.events; }); }},
    {"dwelld_store_lines", kGauge, "", "Lines ever stored.",
     [](const Facts& f) { return OfStore(f, [](const auto& s) { return s.counts.lines; }); }},
    {"dwelld_bundles", kGauge, "", "Bundles ever made for an endpoint, by their state now.",
     BundlesByState},
    {"dwelld_oldest_waiting_age_seconds", kGauge, "seconds",
     "Age of the oldest bundle that waits for delivery; 0: none waits.", OldestWaiting},
    {"dwelld_deliveries", kCounter, "",
     "Attempts to deliver a bundle since the start, by what they ended in.", DeliveriesByOutcome},
    {"dwelld_requests_in_flight", kGauge, "", "Requests to an endpoint that wait for an answer.",
     [](const Facts& f) {
       return ByEndpoint(f, [](const auto& p) { return NumberText(p.in_flight); });
     }},
    {"dwelld_endpoint_paused", kGauge, "",
     "1 while nothing is sent to an endpoint because it takes nothing.",
     [](const Facts& f) {
       return ByEndpoint(
           f, [&f](const auto& p) -> std::string { return p.paused_until > f.steady ? "1" : "0"; });
     }},
    {"dwelld_endpoint_clock_ahead_seconds", kGauge, "seconds",
     "How far our clock is ahead of an endpoint's, while that is worth telling.",
     [](const Facts& f) {
       return ByEndpoint(f, [](const auto& p) {
         return p.clock_ahead ? SecondsText(*p.clock_ahead) : std::string();
       });
     }},
    {"dwelld_unknown_codes", kGauge, "", "Different codes of events that no code map knows.",
     [](const Facts& f) { return OfStore(f, [](const auto& s) { return s.unknown_codes; }); }},
    {"dwelld_unknown_code_events", kCounter, "", "Events ever stored that held an unknown code.",
     [](const Facts& f) {
       return OfStore(f, [](const auto& s) { return s.unknown_code_events; });
     }},
    {"dwelld_doubtful_identifier_events", kCounter, "",
     "Events ever stored whose patient identifier fails a check digit that is not guaranteed.",
     [](const Facts& f) {
       return OfStore(f, [](const auto& s) { return s.doubtful_identifier_events; });
     }},
    {"dwelld_last_reload_successful", kGauge, "",
     "1 if the rules could be read when last asked for, 0 if those before them are still in use.",
     [](const Facts& f) { return f.reloaded ? Truth(*f.reloaded) : Samples(); }},
    {"dwelld_clock_steps", kCounter, "", "How often the wall clock was set since the start.",
     [](const Facts& f) { return One(f.clock_steps); }},
    {"dwelld_wall_clock_ahead_seconds", kGauge, "seconds",
     "How far the wall clock is ahead of our time because it was set and nobody vouches for it.",
     [](const Facts& f) { return One(SecondsText(f.wall_ahead)); }},
    {"dwelld_dues_told_timestamp_seconds", kGauge, "seconds",
     "Up to then everything that fell due has been told.",
     [](const Facts& f) {
       return f.caught_up_to ? One(TimestampText(*f.caught_up_to)) : Samples();
     }},
    {"dwelld_store_jobs_waiting", kGauge, "", "Pieces of work that wait for the store's thread.",
     [](const Facts& f) { return One(f.jobs_waiting); }},
    {"dwelld_store_file_bytes", kGauge, "bytes", "Size of the store's file.",
     [](const Facts& f) {
       return OfStore(f, [](const auto& s) { return s.pages.all * store::kPageBytes; });
     }},
    {"dwelld_store_file_free_bytes", kGauge, "bytes", "Of these: hold nothing, to be used again.",
     [](const Facts& f) {
       return OfStore(f, [](const auto& s) { return s.pages.free * store::kPageBytes; });
     }},
    {"dwelld_store_log_bytes", kGauge, "bytes",
     "What waits in the store's log to be moved into the file.",
     [](const Facts& f) {
       return OfStore(f, [](const auto& s) { return s.log_pages * store::kPageBytes; });
     }},
    {"dwelld_store_disk_free_bytes", kGauge, "bytes", "Room on the store's file system.",
     [](const Facts& f) { return f.free_bytes ? One(*f.free_bytes) : Samples(); }},
    {"dwelld_store_disk_floor_bytes", kGauge, "bytes", "Room below which new events are refused.",
     [](const Facts& /*f*/) { return One(limits::kStoreFreeBytesMin); }},
};

}  // namespace

std::vector<Family> FamiliesOf(const Facts& facts) {
  std::vector<Family> families;
  families.reserve(std::size(kRows));
  for (const Row& row : kRows) {
    families.push_back({row.name, row.type, row.unit, row.help, row.samples(facts)});
  }
  return families;
}

}  // namespace dwell::operate
