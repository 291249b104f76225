// How fast delivery's visits to the store are while a long queue is worked off: each settles what
// the one before claimed, claims as much again, asks when the next is ready, and commits.
//   visits_bench [folder]      default: /tmp
#include <unistd.h>

#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <string>
#include <vector>

#include "daemon/store/store.h"
#include "tests/bench/cpu_time.h"

namespace dwell {
namespace {

constexpr int kBundles = 20'000;
constexpr std::size_t kPerVisit = 64;

template <class T>
T Good(Result<T> result) {
  if (result.has_value()) return std::move(result.value());
  std::fprintf(stderr, "%s\n", result.error().message().c_str());
  std::exit(1);
}
void Good(const Result<void>& result) {
  if (result.has_value()) return;
  std::fprintf(stderr, "%s\n", result.error().message().c_str());
  std::exit(1);
}

void Fill(store::Store& store, int wards) {
  std::vector<std::int64_t> numbers;
  Good(store.Begin());
  for (int i = 0; i < wards; ++i) {
    numbers.push_back(Good(store.WardNumber("ward " + std::to_string(i))));
  }
  for (int i = 0; i < kBundles; ++i) {
    store::LineRecord line;
    line.key = {"bench", std::to_string(i)};
    line.summary = "{}";
    store::BundleRecord bundle;
    bundle.line_seq = Good(store.SaveLine(line));
    bundle.ward = numbers[static_cast<std::size_t>(i) % numbers.size()];
    bundle.body = std::string(6000, 'x');
    Good(store.AddBundle(bundle));
  }
  Good(store.Commit());
}

void Measure(const std::string& folder, int wards) {
  const std::string path = folder + "/visits_bench.store";
  {
    const auto store = Good(store::Store::Open(path));
    Fill(*store, wards);
    const auto start = std::chrono::steady_clock::now();
    const double cpu = bench::CpuMicroseconds();
    std::vector<store::BundleRecord> claimed;
    do {
      Good(store->Begin());
      for (const store::BundleRecord& bundle : claimed) {
        store::Settlement settlement;
        settlement.bundle_seq = bundle.seq;
        Good(store->Settle(settlement));
      }
      claimed = Good(store->Claim(0, Instant{}, kPerVisit));
      Good(store->NextReady(0));
      Good(store->Commit());
    } while (!claimed.empty());
    const std::chrono::duration<double> wall = std::chrono::steady_clock::now() - start;
    std::printf("%3d wards in turn: %8.0f bundles a second, %6.1f us CPU a bundle\n", wards,
                kBundles / wall.count(), (bench::CpuMicroseconds() - cpu) / kBundles);
  }
  ::unlink(path.c_str());
  ::unlink((path + "-wal").c_str());
}

}  // namespace
}  // namespace dwell

int main(int argc, char** argv) {
  for (const int wards : {1, 30, 300}) dwell::Measure(argc > 1 ? argv[1] : "/tmp", wards);
  return 0;
}
