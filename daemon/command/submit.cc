#include "daemon/command/submit.h"

#include <unistd.h>

#include <algorithm>
#include <cstdio>
#include <fstream>
#include <iostream>
#include <sstream>

#include "daemon/base/limits.h"
#include "daemon/command/admin_client.h"
#include "daemon/command/table.h"
#include "schemas/json/document.h"
#include "schemas/json/writer.h"

namespace dwell::command {
namespace {

// Small enough that progress moves, large enough that one sync serves many.
constexpr std::size_t kPortionLines = 200;
constexpr std::size_t kPortionBytes = limits::kBodyBytesMax / 2;

Result<std::string> ReadInput(const std::string& file) {
  std::ostringstream all;
  if (file == "-") {
    all << std::cin.rdbuf();
    return std::move(all).str();
  }
  std::ifstream in(file, std::ios::binary);
  if (in.peek() != std::ifstream::traits_type::eof()) all << in.rdbuf();
  if (in.bad() || !in.is_open()) return Error(ErrorKind::kConfig, file + ": cannot be read");
  return std::move(all).str();
}

/// The issues of a refusal or of warnings, for a person.
std::string Reasons(schemas::Value answer) {
  std::string reasons;
  const auto outcome = answer.Find("outcome");
  const auto issues = outcome ? outcome->Find("issue") : std::nullopt;
  if (!issues) return reasons;
  for (const schemas::Value issue : *issues) {
    reasons += "\n    " + TextAt(issue, "/expression/0") + ": " + TextAt(issue, "/details/text") +
               " (" + TextAt(issue, "/details/coding/0/code") + ")";
  }
  return reasons;
}

/// Counts and prints the answers.
class Answers {
 public:
  Answers(bool json, bool progress, std::size_t lines)
      : json_(json), progress_(progress), lines_(lines) {}

  void Add(std::string_view row, std::size_t first_line) {
    const auto document = schemas::Document::Parse(row);
    if (!document) return;
    const schemas::Value answer = document->root();
    const std::string status = TextAt(answer, "/status");
    const std::size_t line = first_line + std::stoul(TextAt(answer, "/line")) - 1;
    const bool taken = status == "201" || status == "200";
    ++(!taken ? refused_ : status == "201" ? stored_ : repeated_);
    if (taken && answer.Find("outcome")) ++warned_;
    if (json_) {
      // "line" comes first in an answer; only its number changes.
      const std::size_t rest = row.find(',');
      std::printf("{\"line\":%zu%s\n", line, std::string(row.substr(rest)).c_str());
    } else {
      std::printf("%s\n", AnswerInWords(answer, line).c_str());
    }
  }

  void ShowProgress(std::size_t done, bool last) const {
    if (!progress_) return;
    std::fprintf(stderr, "\r%zu of %zu lines%s", done, lines_, last ? "\n" : "");
  }

  void Sum() const {
    std::fprintf(stderr, "%zu stored, %zu stored before, %zu refused%s\n", stored_, repeated_,
                 refused_,
                 warned_ == 0 ? "" : (", " + std::to_string(warned_) + " warned").c_str());
  }
  std::size_t refused() const { return refused_; }
  std::size_t size() const { return stored_ + repeated_ + refused_; }

 private:
  bool json_, progress_;
  std::size_t lines_;
  std::size_t stored_ = 0, repeated_ = 0, refused_ = 0, warned_ = 0;
};

std::string RequestFor(const Portion& portion) {
  schemas::JsonWriter request;
  request.BeginObject();
  request.Member("request", "submit");
  request.Member("format", portion.one_event ? "json" : "ndjson");
  request.Member("body", portion.body);
  request.EndObject();
  return request.Take();
}

}  // namespace

std::vector<Portion> Cut(std::string_view text, std::size_t lines_max, std::size_t bytes_max) {
  std::vector<Portion> portions;
  const std::string_view first_line = text.substr(0, text.find('\n'));
  const schemas::ParseLimits whole{.bytes_max = limits::kBodyBytesMax};
  if (!schemas::Document::Parse(first_line) && schemas::Document::Parse(text, whole)) {
    portions.push_back({1, std::string(text), true});
    return portions;
  }
  std::size_t number = 0;
  std::size_t lines = 0;
  while (!text.empty()) {
    ++number;
    const std::string_view line = text.substr(0, text.find('\n'));
    text.remove_prefix(std::min(text.size(), line.size() + 1));
    const bool fits = !portions.empty() && lines < lines_max &&
                      portions.back().body.size() + line.size() < bytes_max;
    if (!fits) {
      portions.push_back({number, "", false});
      lines = 0;
    }
    portions.back().body.append(line).append("\n");
    ++lines;
  }
  std::erase_if(portions, [](const Portion& portion) {
    return portion.body.find_first_not_of(" \t\r\n") == std::string::npos;
  });
  return portions;
}

std::string AnswerInWords(schemas::Value answer, std::size_t line) {
  const std::string status = TextAt(answer, "/status");
  const std::string words = "line " + std::to_string(line) + ": ";
  if (status != "201" && status != "200") {
    return words + "refused, " + status + Reasons(answer);
  }
  const std::string reasons = Reasons(answer);
  return words + (status == "201" ? "stored " : "stored before ") + TextAt(answer, "/id") +
         (reasons.empty() ? "" : ", with a warning" + reasons);
}

Result<int> Submit(const std::string& socket, const Options& options) {
  const auto text = ReadInput(options.file);
  if (!text) return text.error();
  const auto portions = Cut(*text, kPortionLines, kPortionBytes);
  const auto lines = static_cast<std::size_t>(std::count(text->begin(), text->end(), '\n'));
  Answers answers(options.json, options.progress || ::isatty(STDERR_FILENO) == 1,
                  std::max<std::size_t>(lines, 1));
  for (const Portion& portion : portions) {
    const auto asked = AskDaemon(socket, RequestFor(portion), [&](std::string_view row) {
      answers.Add(row, portion.first_line);
    });
    if (!asked) {
      std::fflush(stdout);
      answers.Sum();
      return asked.error();
    }
    answers.ShowProgress(answers.size(), &portion == &portions.back());
  }
  std::fflush(stdout);
  answers.Sum();
  return answers.refused() == 0 ? 0 : 1;
}

}  // namespace dwell::command
