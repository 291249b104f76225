// How fast the ledger and the store are alone: events a second through Ledger::Submit on a real
// file, with the CPU time of each, next to the raw syncs a second of the same disk in the same run.
//   store_bench [folder] [lines]      default: /tmp, 4000 lines of 6 events each
#include <fcntl.h>
#include <sys/resource.h>
#include <unistd.h>

#include <algorithm>
#include <condition_variable>
#include <cstdio>
#include <cstdlib>
#include <mutex>
#include <string>
#include <vector>

#include "daemon/ledger/making.h"
#include "tests/daemon/ledger/ledger_rig.h"

namespace dwell {
namespace {

using Seconds = std::chrono::duration<double>;

double CpuSeconds() {
  rusage usage{};
  ::getrusage(RUSAGE_SELF, &usage);
  const auto seconds = [](const timeval& time) {
    return static_cast<double>(time.tv_sec) + static_cast<double>(time.tv_usec) / 1e6;
  };
  return seconds(usage.ru_utime) + seconds(usage.ru_stime);
}

class Stopwatch {
 public:
  double wall() const { return Seconds(std::chrono::steady_clock::now() - start_).count(); }
  double cpu() const { return CpuSeconds() - cpu_; }

 private:
  std::chrono::steady_clock::time_point start_ = std::chrono::steady_clock::now();
  double cpu_ = CpuSeconds();
};

void MeasureSyncs(const std::string& folder) {
  const std::string path = folder + "/store_bench.sync";
  const int file = ::open(path.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);
  const std::string page(4096, 'x');
  constexpr int kSyncs = 1000;
  const Stopwatch watch;
  for (int i = 0; i < kSyncs; ++i) {
    if (::write(file, page.data(), page.size()) < 0 || ::fdatasync(file) != 0) std::abort();
  }
  std::printf("baseline: append 4 KiB + fdatasync      %8.0f a second\n", kSyncs / watch.wall());
  ::close(file);
  ::unlink(path.c_str());
}

// All lines do the same step, then the next: a line comes again after all others, as on real wards.
std::vector<std::vector<test::Sketch>> Steps(std::size_t lines, const std::string& run) {
  std::vector<std::vector<test::Sketch>> steps(6);
  for (std::size_t i = 0; i < lines; ++i) {
    const std::string line = run + "-line-" + std::to_string(i);
    const auto id = [&](int step) { return line + "-e" + std::to_string(step); };
    steps[0].push_back(test::Insertion(id(0), 0, line));
    steps[1].push_back(test::SiteCheck(id(1), 5, 0, line));
    steps[2].push_back(test::Flush(id(2), 6, line));
    steps[3].push_back(test::SiteCheck(id(3), 13, 1, line));
    steps[4].push_back(test::SiteCheck(id(4), 21, 1, line));
    steps[5].push_back(test::Removal(id(5), 30, line));
  }
  return steps;
}

// Submits in pieces of `piece` events with at most `open_max` pieces under way; waits for the last.
class Sender {
 public:
  Sender(ledger::Ledger& ledger, std::size_t open_max) : ledger_(ledger), open_max_(open_max) {}

  void Send(std::vector<ledger::Submission> submissions, std::size_t piece) {
    for (std::size_t at = 0; at < submissions.size(); at += piece) {
      const auto from = submissions.begin() + static_cast<std::ptrdiff_t>(at);
      const auto until =
          from + static_cast<std::ptrdiff_t>(std::min(piece, submissions.size() - at));
      std::vector<ledger::Submission> some(std::make_move_iterator(from),
                                           std::make_move_iterator(until));
      std::unique_lock lock(mutex_);
      changed_.wait(lock, [this] { return open_ < open_max_; });
      ++open_;
      lock.unlock();
      ledger_.Submit(std::move(some),
                     [this](std::vector<ledger::Receipt> receipts) { Answered(receipts); });
    }
    std::unique_lock lock(mutex_);
    changed_.wait(lock, [this] { return open_ == 0; });
  }

 private:
  void Answered(const std::vector<ledger::Receipt>& receipts) {
    for (const ledger::Receipt& receipt : receipts) {
      if (receipt.answer == ledger::Answer::kStored) continue;
      std::fprintf(stderr, "not stored: %s %s\n", receipt.why.c_str(),
                   receipt.contradiction.rule.c_str());
      std::abort();
    }
    const std::scoped_lock lock(mutex_);
    --open_;
    changed_.notify_one();
  }

  ledger::Ledger& ledger_;
  std::size_t open_max_;
  std::mutex mutex_;
  std::condition_variable changed_;
  std::size_t open_ = 0;
};

std::vector<ledger::Submission> Read(const std::vector<test::Sketch>& sketches) {
  std::vector<ledger::Submission> submissions;
  submissions.reserve(sketches.size());
  for (const test::Sketch& sketch : sketches) {
    submissions.push_back(test::Submit(test::Shelf::Get().schemas, test::Raw(sketch)));
  }
  return submissions;
}

struct Way {
  const char* name;
  std::size_t piece;
  std::size_t open_max;
};

void MeasureLedger(const std::string& folder, std::size_t lines, const Way& way) {
  const std::string path = folder + "/store_bench.store";
  test::ManualClock clock(test::Start());
  auto opened = store::Store::Open(path);
  if (opened.has_error()) {
    std::fprintf(stderr, "%s\n", opened.error().message().c_str());
    std::exit(1);
  }
  double wall = 0;
  double cpu = 0;
  std::size_t events = 0;
  {
    store::Writer writer(std::move(opened.value()), nullptr);
    ledger::Ledger ledger(writer, clock, test::Shelf::Get().Rules());
    Sender sender(ledger, way.open_max);
    for (const auto& step :
         Steps(lines, std::to_string(way.piece) + "-" + std::to_string(way.open_max))) {
      auto submissions = Read(step);
      clock.Set(test::Hour(step[0].hours));
      const Stopwatch watch;
      sender.Send(std::move(submissions), way.piece);
      wall += watch.wall();
      cpu += watch.cpu();
      events += step.size();
    }
  }
  std::printf("ledger: %-30s  %8.0f events a second, %6.1f us CPU an event\n", way.name,
              static_cast<double>(events) / wall, cpu * 1e6 / static_cast<double>(events));
  ::unlink(path.c_str());
  ::unlink((path + "-wal").c_str());
}

// The same lives without a store: what deriving, making and checking cost alone.
void MeasureMaking(std::size_t lines) {
  const ledger::Rules rules = test::Shelf::Get().Rules();
  std::vector<ledger::LineState> states(lines);
  double cpu = 0;
  std::size_t bytes = 0;
  std::size_t events = 0;
  for (const auto& step : Steps(lines, "making")) {
    const auto submissions = Read(step);
    const Stopwatch watch;
    for (std::size_t i = 0; i < lines; ++i) {
      ledger::LineState& state = states[i];
      const auto& event = submissions[i].event;
      state.key = {event->source, event->line_id};
      state.events.push_back(event);
      const auto line =
          line::Derive(state.key, state.events, rules.policy->check_after_removal_max());
      auto making = ledger::MakeAll(*line, state, rules, event.get(), test::Hour(step[i].hours));
      state.issued = std::move(making.issued);
      ++state.bundles;
      for (const auto& bundle : making.bundles) bytes += bundle.body.size();
    }
    cpu += watch.cpu();
    events += step.size();
  }
  std::printf("of which derive, dues, resources, check: %30.1f us CPU an event, %zu bytes out\n",
              cpu * 1e6 / static_cast<double>(events), bytes / events);
}

}  // namespace
}  // namespace dwell

int main(int argc, char** argv) {
  const std::string folder = argc > 1 ? argv[1] : "/tmp";
  const std::size_t lines = argc > 2 ? std::strtoul(argv[2], nullptr, 10) : 4000;
  dwell::MeasureSyncs(folder);
  for (const dwell::Way& way :
       {dwell::Way{"1 event, 1 at a time", 1, 1}, dwell::Way{"1 event, 64 at a time", 1, 64},
        dwell::Way{"100 events, 8 at a time", 100, 8}}) {
    // One at a time waits for a sync each: fewer of them tell as much.
    dwell::MeasureLedger(folder, way.open_max == 1 ? std::min<std::size_t>(lines, 200) : lines,
                         way);
  }
  dwell::MeasureMaking(lines);
  dwell::MeasureSyncs(folder);
  return 0;
}
