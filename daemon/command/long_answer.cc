#include "daemon/command/long_answer.h"

#include <unistd.h>

#include <chrono>
#include <cstdio>

#include "daemon/command/admin_client.h"

namespace dwell::command {

void WriteLinesAndDecision(schemas::JsonWriter& request, const Options& options) {
  if (!options.source.empty()) request.Member("source", options.source);
  if (!options.line.empty()) request.Member("line_id", options.line);
  if (!options.ward.empty()) request.Member("ward", options.ward);
  if (!options.send) return;
  request.MemberBool("send", true);
  request.Member("by", options.by);
  request.Member("why", options.why);
}

Result<int> AskLong(const std::string& socket, const std::string& request, const Options& options,
                    const LongAnswer& answer) {
  using Clock = std::chrono::steady_clock;
  const schemas::ParseLimits limits{
      .bytes_max = answer.row_bytes_max, .depth_max = 8, .values_max = 20'000'000};
  const bool progress = options.progress || ::isatty(STDERR_FILENO) == 1;
  const auto begun = Clock::now();
  bool shown = false;
  bool trouble = false;
  bool unreadable = false;
  const auto asked = AskDaemon(socket, request, [&](std::string_view text) {
    const auto row = schemas::Document::Parse(text, limits);
    if (!row || !row->root().is_object()) {
      unreadable = true;
      return;
    }
    if (row->root().Find("looked_at")) {
      if (!progress) return;
      const double seconds = std::chrono::duration<double>(Clock::now() - begun).count();
      const std::string words = answer.progress(row->root(), seconds);
      std::fprintf(stderr, "\r\033[K%s", words.c_str());
      shown = true;
      return;
    }
    if (shown) std::fputs("\n", stderr);
    shown = false;
    trouble = trouble || answer.is_trouble(row->root());
    const std::string words =
        options.json ? std::string(text) + "\n" : answer.in_words(row->root());
    std::fwrite(words.data(), 1, words.size(), stdout);
  });
  if (shown) std::fputs("\n", stderr);
  if (!asked) return asked.error();
  if (unreadable) return Error(ErrorKind::kData, "the daemon's answer is not complete");
  return trouble ? 1 : 0;
}

}  // namespace dwell::command
