// practice_endpoint [--port N] [--referential] [--keep history|current|nothing] [--bodies FILE]
//                   [--certificate FILE --key FILE]: runs until a signal. SIGUSR1: nobody listens
//                   any more; SIGUSR2: listens again, with everything that it held.
#include <csignal>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <string>
#include <string_view>

#include "schemas/base/check.h"
#include "tests/endpoint/practice_endpoint.h"

namespace {

constexpr const char* kUsage =
    "usage: practice_endpoint [--port N] [--referential] [--keep history|current|nothing]\n"
    "                         [--bodies FILE] [--certificate FILE --key FILE]\n"
    "FHIR R4 endpoint in memory at http://localhost:PORT/fhir; POST /_practice/mood makes it\n"
    "misbehave, POST /_practice/forget?key=Type/id and /_practice/alter?key=Type/id&from=A&to=B\n"
    "lose and falsify what it holds, GET /_practice/counts and /_practice/dump?type=TYPE show it.\n"
    "FILE gets "
    "the bodies that were committed, in order, one a line.\n";

bool ReadArguments(int count, char** words, practice::EndpointOptions& options,
                   practice::Manners& manners, std::string& bodies) {
  for (int i = 1; i < count; ++i) {
    const std::string_view word = words[i];
    if (word == "--referential") {
      manners.referential = true;
      continue;
    }
    if (++i >= count) return false;
    const std::string value = words[i];
    if (word == "--port") {
      options.port = static_cast<std::uint16_t>(std::atoi(value.c_str()));
    } else if (word == "--keep") {
      if (value == "history")
        options.keep = practice::Keep::kHistory;
      else if (value == "current")
        options.keep = practice::Keep::kCurrent;
      else if (value == "nothing")
        options.keep = practice::Keep::kNothing;
      else
        return false;
    } else if (word == "--bodies") {
      bodies = value;
    } else if (word == "--certificate" || word == "--key") {
      if (!options.tls) options.tls.emplace();
      (word == "--key" ? options.tls->private_key : options.tls->certificate_chain) = value;
    } else {
      return false;
    }
  }
  return true;
}

/// Each body that is committed becomes a line of `file`. False: it cannot be written.
bool KeepBodies(const std::string& file, std::ofstream& lines, practice::Desk& desk) {
  lines.open(file, std::ios::trunc);
  if (!lines) return false;
  desk.OnCommit([&lines](std::string_view body) {
    CHECK(body.find('\n') == body.npos);  // dwelld sends none; a line would no longer be a body
    lines << body << std::endl;           // a reader may come while the program runs
  });
  return true;
}

}  // namespace

int main(int count, char** words) {
  practice::EndpointOptions options;
  practice::Manners manners;
  std::string bodies;
  std::ofstream lines;  // outlives the endpoint, which writes to it
  if (!ReadArguments(count, words, options, manners, bodies)) {
    std::fputs(kUsage, stderr);
    return 64;
  }
  sigset_t signals;
  sigemptyset(&signals);
  sigaddset(&signals, SIGINT);
  sigaddset(&signals, SIGTERM);
  sigaddset(&signals, SIGUSR1);
  sigaddset(&signals, SIGUSR2);
  pthread_sigmask(SIG_BLOCK, &signals, nullptr);  // before the endpoint's thread starts
  auto endpoint = practice::PracticeEndpoint::Start(options);
  if (!endpoint) {
    std::fprintf(stderr, "practice_endpoint: %s\n", endpoint.error().message().c_str());
    return 1;
  }
  (*endpoint)->desk().SetManners(manners);
  if (!bodies.empty() && !KeepBodies(bodies, lines, (*endpoint)->desk())) {
    std::fprintf(stderr, "practice_endpoint: cannot write %s\n", bodies.c_str());
    return 1;
  }
  std::printf("%s\n", (*endpoint)->url().c_str());
  std::fflush(stdout);
  for (int signal = 0; sigwait(&signals, &signal) == 0;) {
    if (signal == SIGUSR1) {
      (*endpoint)->GoDown();
    } else if (signal != SIGUSR2) {
      return 0;
    } else if (!(*endpoint)->ComeBack()) {
      return 1;
    }
  }
  return 1;
}
