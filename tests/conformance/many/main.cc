// many_events: from one seed, whole lives of invented lines and what they become in FHIR.
//   many_events [--seed N] [--events N] [--release 4.0.1|4.3.0|5.0.0] OUTDIR
// Writes into OUTDIR: events.ndjson (every event that was taken, in order of arrival),
// bundles.ndjson (every transaction Bundle made), latest/<Type>.ndjson (the last version of every
// resource), coverage.txt. Ends with "N passed, N failed" over what coverage.txt lists (the line
// before tells it as JSON); fails also
// when an event is not legal or a resource breaks our own structure.
#include <filesystem>
#include <fstream>
#include <iostream>
#include <map>
#include <set>

#include "tests/conformance/many/coverage.h"

namespace dwell::many {
namespace {

struct Options {
  std::uint64_t seed = 1;
  std::size_t events = 5000;
  FhirRelease release = FhirRelease::kR4;
  std::filesystem::path out;
};

std::optional<Options> Read(int count, char** words) {
  Options options;
  for (int i = 1; i < count; ++i) {
    const std::string word = words[i];
    const std::string value = i + 1 < count ? words[i + 1] : "";
    if (word == "--seed" || word == "--events") {
      if (value.empty() || value.find_first_not_of("0123456789") != std::string::npos) return {};
      (word == "--seed" ? options.seed : options.events) = std::stoull(value);
      ++i;
    } else if (word == "--release") {
      const auto release = FhirReleaseOf(value);
      if (!release) return {};
      options.release = *release;
      ++i;
    } else if (options.out.empty() && !word.starts_with("-")) {
      options.out = word;
    } else {
      return {};
    }
  }
  if (options.out.empty()) return {};
  return options;
}

/// Outside a transaction a search is no reference; the identifier beside it stays.
std::string WithoutSearches(std::string json) {
  for (const std::string_view start : {"\"reference\":\"Patient?", "\"reference\":\"Encounter?"}) {
    for (std::size_t at; (at = json.find(start)) != std::string::npos;) {
      const std::size_t end = json.find('"', at + start.size());
      json.erase(at, end + 1 - at + (json[end + 1] == ',' ? 1 : 0));
    }
  }
  return json;
}

struct Files {
  explicit Files(const std::filesystem::path& out)
      : events(out / "events.ndjson"), bundles(out / "bundles.ndjson") {}
  std::ofstream events, bundles;
  std::map<std::pair<std::string, std::string>, std::string> latest;  ///< by type and id
  std::size_t event_count = 0, bundle_count = 0, resource_count = 0;

  void Take(const Step& step) {
    if (step.event != nullptr) {
      events << step.event_json << "\n";
      ++event_count;
    }
    if (step.resources.empty()) return;
    bundles << fhir::TransactionBundle(step.resources) << "\n";
    ++bundle_count;
    resource_count += step.resources.size();
    for (const fhir::Resource& one : step.resources) {
      latest[{one.type, one.id}] = WithoutSearches(one.json);
    }
  }

  void WriteLatest(const std::filesystem::path& folder) const {
    std::map<std::string, std::ofstream> files;
    for (const auto& [name, json] : latest) {
      auto& file = files[name.first];
      if (!file.is_open()) file.open(folder / (name.first + ".ndjson"));
      file << json << "\n";
    }
  }
};

int Run(const Options& options) {
  std::filesystem::remove_all(options.out);
  std::filesystem::create_directories(options.out / "latest");
  const Contract contract;
  const Vocabulary words = LoadVocabulary();
  Dice dice(options.seed);
  Wards wards(DWELL_SOURCE_DIR);
  Player player(options.release, &wards);
  Coverage coverage(contract, words, options.release);
  Files files(options.out);
  std::size_t lives = 0;
  for (; files.event_count < options.events; ++lives) {
    player.Play(MakeLife(lives, contract, words, &dice), [&](const Step& step) {
      coverage.Count(step);
      files.Take(step);
    });
  }
  files.WriteLatest(options.out / "latest");
  std::ofstream report(options.out / "coverage.txt");
  const std::size_t missing = coverage.Print(report);

  for (std::size_t i = 0; i < player.faults().lines.size() && i < 20; ++i) {
    std::cout << "fault: " << player.faults().lines[i] << "\n";
  }
  std::cout << "seed " << options.seed << ", FHIR " << FhirVersion(options.release) << ": " << lives
            << " lines, " << files.event_count << " events, " << files.bundle_count << " bundles, "
            << files.resource_count << " resources made, " << files.latest.size()
            << " of them the last version\n";
  for (const auto& [rule, count] : player.refused()) {
    std::cout << "refused as contradiction " << rule << ": " << count << "\n";
  }
  const std::size_t failed = missing + player.faults().lines.size();
  std::cout << "coverage: " << coverage.size() - missing << " of " << coverage.size() << ", see "
            << (options.out / "coverage.txt").string() << "\n"
            << R"({"judge":"coverage of the generator","release":")" << FhirVersion(options.release)
            << R"(","resources":)" << coverage.size() << R"(,"errors":)" << failed
            << R"(,"warnings":0})"
            << "\n"
            << coverage.size() - missing << " passed, " << failed << " failed\n";
  return failed == 0 ? 0 : 1;
}

}  // namespace
}  // namespace dwell::many

int main(int count, char** words) {
  const auto options = dwell::many::Read(count, words);
  if (!options) {
    std::cerr << "usage: many_events [--seed N] [--events N] [--release VERSION] OUTDIR\n";
    return 64;
  }
  return dwell::many::Run(*options);
}
