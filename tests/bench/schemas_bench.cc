// Microseconds of CPU for reading a document and for checking it, beside RapidJSON's own parser in
// the same run. Not a test: prints figures. Usage: schemas_bench [FILE...] (default: the event
// examples and the Observation in tests/schemas/resources).
#include <rapidjson/document.h>

#include <algorithm>
#include <cstdio>
#include <ctime>
#include <string>
#include <vector>

#include "schemas/bundled.h"
#include "tests/bench/cpu_time.h"
#include "tests/schemas/files.h"

namespace dwell::schemas {
namespace {

constexpr int kRounds = 7;
constexpr int kRepeats = 20'000;

template <class Call>
double Best(Call call) {
  return bench::Best(kRounds, kRepeats, call);
}

template <unsigned kFlags>
double BestRapidJson(const std::string& text) {
  std::size_t sink = 0;
  const double best = Best([&] {
    rapidjson::Document document;
    document.Parse<kFlags>(text.data(), text.size());
    sink += document.HasParseError() ? 1 : 0;
  });
  return sink == 0 ? best : -1;
}

void Run(const Bundled& bundled, const std::string& name, const std::string& text) {
  const auto document = Document::Parse(text);
  if (!document) {
    std::printf("%-28s not JSON\n", name.c_str());
    return;
  }
  const Value root = document->root();
  const bool resource = root.Find("resourceType").has_value();
  std::size_t sink = 0;
  const auto check = [&](Value value) {
    const auto found = resource ? bundled.CheckResource(value) : bundled.CheckEvent(value);
    sink += found.size();
  };
  const double parse = Best([&] { sink += Document::Parse(text)->root().size(); });
  sink = 0;
  const double checked = Best([&] { check(root); });
  const char* verdict = sink == 0 ? "" : "  (has violations)";
  const double both = Best([&] {
    const auto again = Document::Parse(text);
    check(again->root());
  });
  std::printf("%-28s %7zu %9.2f %9.2f %9.2f %12.2f %12.2f%s\n", name.c_str(), text.size(), parse,
              checked, both, BestRapidJson<0>(text),
              BestRapidJson<rapidjson::kParseIterativeFlag | rapidjson::kParseValidateEncodingFlag |
                            rapidjson::kParseFullPrecisionFlag>(text),
              verdict);
}

/// Without the white space that people like: as sent.
std::string Compact(const std::string& text) {
  std::string out;
  bool in_string = false;
  bool escaped = false;
  for (const char c : text) {
    if (c == '"' && !escaped) in_string = !in_string;
    escaped = c == '\\' && !escaped;
    if (in_string || std::string_view(" \n\r\t").find(c) == std::string_view::npos) {
      out.push_back(c);
    }
  }
  return out;
}

}  // namespace
}  // namespace dwell::schemas

int main(int argc, char** argv) {
  using namespace dwell::schemas;
  const auto bundled = Bundled::Load();
  if (!bundled) {
    std::fprintf(stderr, "%s\n", bundled.error().message().c_str());
    return 1;
  }
  std::printf("%-28s %7s %9s %9s %9s %12s %12s\n", "us CPU, best of 7", "bytes", "parse", "check",
              "both", "rapidjson", "rj strict");
  std::vector<std::pair<std::string, std::string>> files;
  for (int i = 1; i < argc; ++i) files.emplace_back(argv[i], ReadFile(argv[i]));
  if (files.empty()) {
    for (const char* folder : {"tests/schemas/events", "tests/schemas/resources"}) {
      for (auto& file : ReadFolder(folder)) files.push_back(std::move(file));
    }
  }
  for (const auto& [name, text] : files) Run(*bundled, name, Compact(text));
  const double begin = dwell::bench::CpuMicroseconds();
  const bool loaded = Bundled::Load().has_value();
  std::printf("compile all bundled schemas: %.1f ms%s\n",
              (dwell::bench::CpuMicroseconds() - begin) / 1e3, loaded ? "" : " (failed)");
  return 0;
}
