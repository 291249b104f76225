// How fast a queue of bundles is delivered: real store, real practice endpoint, one machine.
// delivery_bench [BUNDLES] [BYTES]: prints bundles/s and CPU per bundle of the whole process.
#include <sys/resource.h>

#include <atomic>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <thread>

#include "daemon/delivery/delivery.h"
#include "tests/endpoint/practice_endpoint.h"

namespace {

using namespace dwell;  // NOLINT(google-build-using-namespace): a program of one file

std::string BundleText(int lane, std::size_t bytes) {
  const std::string id = "lane-" + std::to_string(lane);
  std::string text = R"({"resourceType":"Bundle","type":"transaction","entry":[)";
  for (int i = 0; i < 6; ++i) {
    const std::string own = id + "-" + std::to_string(i);
    text += std::string(i == 0 ? "" : ",") + R"({"resource":{"resourceType":"Observation","id":")" +
            own + R"(","note":[{"text":")" + std::string(bytes / 6, 'x') +
            R"("}]},"request":{"method":"PUT","url":"Observation/)" + own + R"("}})";
  }
  return text + "]}";
}

double CpuSeconds() {
  rusage usage{};
  getrusage(RUSAGE_SELF, &usage);
  const auto seconds = [](const timeval& time) {
    return static_cast<double>(time.tv_sec) + static_cast<double>(time.tv_usec) * 1e-6;
  };
  return seconds(usage.ru_utime) + seconds(usage.ru_stime);
}

Result<void> Fill(store::Store& store, int bundles, std::size_t bytes) {
  for (int lane = 0; lane < bundles; ++lane) {
    store::LineRecord line;
    line.key.source = "bench";
    line.key.line_id = std::to_string(lane);
    line.summary = "{}";
    const auto line_seq = store.SaveLine(line);
    if (!line_seq) return line_seq.error();
    store::BundleRecord bundle;
    bundle.line_seq = *line_seq;
    bundle.entries = 6;
    bundle.body = BundleText(lane, bytes);
    if (const auto added = store.AddBundle(bundle); !added) return added.error();
  }
  return {};
}

}  // namespace

int main(int count, char** words) {
  const int bundles = count > 1 ? std::atoi(words[1]) : 20'000;
  const std::size_t bytes = count > 2 ? static_cast<std::size_t>(std::atol(words[2])) : 8'000;
  const auto folder =
      std::filesystem::temp_directory_path() / ("delivery-bench-" + std::to_string(::getpid()));
  std::filesystem::create_directories(folder);
  auto opened = store::Store::Open(folder / "store.db");
  auto endpoint =
      practice::PracticeEndpoint::Start({.port = 0, .tls = {}, .keep = practice::Keep::kNothing});
  if (!opened || !endpoint) return 1;
  {
    store::Writer writer(std::move(*opened), [](const Error&) { std::abort(); });
    std::atomic<bool> is_filled{false};
    writer.Post({[&](store::Store& store) { return Fill(store, bundles, bytes); },
                 [&](const Result<void>&) { is_filled = true; }});
    while (!is_filled) std::this_thread::yield();

    const base::SystemClock clock;
    delivery::Endpoint target;
    target.url = (*endpoint)->url();
    const double cpu = CpuSeconds();
    const auto start = std::chrono::steady_clock::now();
    auto delivery = delivery::Delivery::Start(writer, clock, target);
    if (!delivery) return 1;
    while ((*delivery)->progress().completed < static_cast<std::uint64_t>(bundles)) {
      std::this_thread::sleep_for(std::chrono::milliseconds(1));
    }
    const std::chrono::duration<double> took = std::chrono::steady_clock::now() - start;
    std::printf(
        "%d bundles of %zu bytes: %.0f/s, %.1f us CPU each (store, delivery and endpoint), "
        "%llu overlaps\n",
        bundles, bytes, bundles / took.count(), (CpuSeconds() - cpu) * 1e6 / bundles,
        static_cast<unsigned long long>((*endpoint)->desk().counts().overlaps));
    (*delivery)->Stop(std::chrono::seconds(5));
  }
  std::filesystem::remove_all(folder);
  return 0;
}
