// year [--lines N] [--days N] [--seed N] [--zone NAME]: a year of a ward, checked against an oracle
// of its own; see tests/sim/year/run.
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <ctime>
#include <functional>
#include <queue>

#include "tests/sim/log_capture.h"
#include "tests/sim/year/house.h"
#include "tests/sim/year/nurse.h"

namespace dwell::year {
namespace {

using std::chrono::days;
using std::chrono::hours;

struct Options {
  std::uint64_t lines = 500, days = 366, seed = 1;
  std::string zone = "Europe/London";
};

struct Figures {
  std::uint64_t events = 0, refused = 0, stops = 0, waited = 0, steps = 0;
  milliseconds stopped{0};
  std::uint64_t disk_bytes_most = 0;
};

/// The year of one ward.
class Year {
 public:
  Year(const Options& options, sim::Findings& findings)
      : options_(options),
        findings_(findings),
        random_(options.seed),
        begins_(ReadMoment("2026-03-02T09:00:00Z")->instant),
        clock_(begins_),
        rules_(RulesOfTheYear(options.zone)),
        almanac_(RoundsOfTheYear()),
        oracle_(findings),
        house_(clock_, rules_, random_.Next()) {
    for (std::uint64_t i = 0; i < options.lines; ++i) {
      nurses_.emplace_back(static_cast<int>(i), begins_, random_.Next(), almanac_, oracle_);
      turns_.emplace(nurses_.back().next(), i);
    }
    house_.Start();
    stop_at_ = begins_ + Minutes(600, 12'000);
    step_at_ = begins_ + Minutes(300, 9'000);
    clean_up_at_ = begins_ + hours(1);
  }

  void Run() {
    const Instant ends = begins_ + days(options_.days);
    Instant told_at = begins_ + days(30);
    while (findings_.ok() && clock_.true_now() < ends) {
      Next();
      if (clock_.true_now() < told_at) continue;
      told_at += days(30);
      std::printf("%s: %llu events, %llu dues\n", FormatInstant(clock_.true_now()).c_str(),
                  static_cast<unsigned long long>(figures_.events),
                  static_cast<unsigned long long>(oracle_.tally().dues));
      std::fflush(stdout);
    }
    if (findings_.ok() && house_.is_up()) oracle_.CheckAll(clock_.true_now(), up_since_);
  }

  void Print() const;

 private:
  minutes Minutes(std::int64_t least, std::int64_t most) {
    return minutes(random_.Between(least, most));
  }

  /// Whatever comes first: an event, a look of the alarm, a stop, a start, a step, a clean-up.
  void Next() {
    Instant at = turns_.top().first;
    enum { kEvent, kLook, kStop, kStep, kCleanUp } what = kEvent;
    const auto consider = [&](std::optional<Instant> time, auto which) {
      if (!time || *time >= at) return;
      at = *time;
      what = which;
    };
    if (house_.is_up()) consider(house_.NextLook(), kLook);
    consider(stop_at_, kStop);
    consider(step_at_, kStep);
    if (house_.is_up()) consider(clean_up_at_, kCleanUp);
    clock_.MoveTo(std::max(at, clock_.true_now()));
    if (what == kEvent) Tell();
    if (what == kLook) house_.Look();
    if (what == kStop) StopOrStart();
    if (what == kStep) Step();
    if (what == kCleanUp) CleanUp();
    for (const ToldTask& task : house_.TakeTold()) {
      oracle_.Told(task, clock_.true_now(), up_since_);
    }
  }

  void Tell() {
    const std::size_t number = turns_.top().second;
    turns_.pop();
    if (!house_.is_up()) {  // the device tries again once the daemon is there
      ++figures_.waited;
      turns_.emplace(*stop_at_ + milliseconds(random_.Between(2'001, 60'000)), number);
      return;
    }
    const std::string raw = nurses_[number].Tell(clock_.true_now(), up_since_);
    turns_.emplace(nurses_[number].next(), number);
    const int status = house_.Submit(raw);
    ++(status == 201 ? figures_.events : figures_.refused);
    if (status != 201) findings_.Broken("refused", std::to_string(status) + ": " + raw);
  }

  void StopOrStart() {
    if (house_.is_up()) {
      house_.Stop(
          random_.OneOf({House::End::kOrderly, House::End::kPowerCut, House::End::kKilled}));
      down_at_ = clock_.true_now();
      stop_at_ = down_at_ + (random_.Chance(50) ? Minutes(1, 5) : Minutes(5, 360)) +
                 milliseconds(random_.Between(0, 60'000));
      ++figures_.stops;
      return;
    }
    clock_.Set(milliseconds(0));  // a machine that starts sets its clock right
    up_since_ = clock_.true_now();
    figures_.stopped += up_since_ - down_at_;
    house_.Start();
    stop_at_ = up_since_ + Minutes(600, 12'000) + milliseconds(random_.Between(0, 60'000));
  }

  /// Somebody sets the wall clock wrong, by up to half a day, and hours later right again.
  void Step() {
    is_stepped_ = !is_stepped_;
    const auto by = milliseconds(random_.Between(10'000, 43'200'000));
    clock_.Set(!is_stepped_ ? milliseconds(0) : random_.Chance(50) ? by : -by);
    step_at_ = clock_.true_now() + (is_stepped_ ? Minutes(1, 480) : Minutes(300, 9'000));
    figures_.steps += is_stepped_ ? 1 : 0;
  }

  void CleanUp() {
    house_.CleanUp();
    figures_.disk_bytes_most = std::max(figures_.disk_bytes_most, house_.disk_bytes());
    clean_up_at_ = clock_.true_now() + hours(6);
  }

  using Turn = std::pair<Instant, std::size_t>;

  const Options& options_;
  sim::Findings& findings_;
  sim::Random random_;
  const Instant begins_;
  MachineClock clock_;
  const ledger::Rules rules_;
  Almanac almanac_;
  Oracle oracle_;
  House house_;
  std::vector<Nurse> nurses_;
  std::priority_queue<Turn, std::vector<Turn>, std::greater<>> turns_;
  std::optional<Instant> stop_at_, step_at_, clean_up_at_;
  Instant up_since_{}, down_at_{};
  bool is_stepped_ = false;
  Figures figures_;
};

void Year::Print() const {
  const Tally& tally = oracle_.tally();
  const auto number = [](auto value) { return static_cast<unsigned long long>(value); };
  std::uint64_t lines = 0;
  for (const Nurse& nurse : nurses_) lines += nurse.lines();
  std::printf("%s, %llu days, %llu beds: %llu lines, %llu events, %llu refused\n",
              options_.zone.c_str(), number(options_.days), number(options_.lines), number(lines),
              number(figures_.events), number(figures_.refused));
  std::printf(
      "%llu due things; told by the clock: %llu due-soon, %llu due, %llu overdue; closed by "
      "an event: %llu\n",
      number(tally.dues), number(tally.soon), number(tally.due), number(tally.overdue),
      number(tally.closed));
  std::printf("latest: %llu ms behind its instant; rounds that the clock skipped: %llu\n",
              number(tally.late_most.count()), number(almanac_.skipped()));
  std::printf(
      "%llu stops, down for %llu minutes in all; %llu told after a start, %llu events had to "
      "wait; the wall clock was set wrong %llu times\n",
      number(figures_.stops), number(std::chrono::floor<minutes>(figures_.stopped).count()),
      number(tally.caught_up), number(figures_.waited), number(figures_.steps));
  std::printf("store: %llu MiB at most, %llu looks of the alarm that found something\n",
              number(figures_.disk_bytes_most >> 20U), number(house_.rounds()));
}

bool Read(int count, char** texts, Options& options) {
  for (int i = 1; i + 1 < count; i += 2) {
    const std::string name = texts[i];
    if (name == "--zone") {
      options.zone = texts[i + 1];
    } else if (name == "--lines") {
      options.lines = std::strtoull(texts[i + 1], nullptr, 10);
    } else if (name == "--days") {
      options.days = std::strtoull(texts[i + 1], nullptr, 10);
    } else if (name == "--seed") {
      options.seed = std::strtoull(texts[i + 1], nullptr, 10);
    } else {
      return false;
    }
  }
  return count % 2 == 1 && options.lines > 0 && options.days > 0;
}

int Run(const Options& options) {
  setenv("TZ", (":" + options.zone).c_str(), 1);  // for the almanac
  tzset();
  sim::LogCapture log;
  sim::Findings findings(nullptr);
  Year year(options, findings);
  year.Run();
  year.Print();
  if (!findings.ok()) std::printf("%s\n", findings.broken().c_str());
  std::printf("%d passed, %d failed\n", findings.ok() ? 1 : 0, findings.ok() ? 0 : 1);
  return findings.ok() ? 0 : 1;
}

}  // namespace
}  // namespace dwell::year

int main(int count, char** texts) {
  dwell::year::Options options;
  if (!dwell::year::Read(count, texts, options)) {
    std::fputs("year [--lines N] [--days N] [--seed N] [--zone NAME]\n", stderr);
    return 64;
  }
  return dwell::year::Run(options);
}
