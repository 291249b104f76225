// practice_endpoint [--port N] [--referential] [--keep history|current|nothing] [--bodies FILE]
//                   [--events FILE] [--certificate FILE --key FILE]: runs until a signal. SIGUSR1:
//                   nobody listens any more; SIGUSR2: listens again, with everything that it held.
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
    "                         [--bodies FILE] [--events FILE]\n"
    "                         [--certificate FILE --key FILE]\n"
    "FHIR R4 endpoint in memory at http://localhost:PORT/fhir; POST /_practice/mood makes it\n"
    "misbehave, POST /_practice/forget?key=Type/id and /_practice/alter?key=Type/id&from=A&to=B\n"
    "lose and falsify what it holds, GET /_practice/counts and /_practice/dump?type=TYPE show it.\n"
    "--bodies: FILE gets the bodies that were committed, in order, one a line. --events: only the\n"
    "ids of the events that their Provenance names; - for a body without.\n";

/// Files that are told of each body.
struct Files {
  std::string bodies, events;
};

bool ReadArguments(int count, char** words, practice::EndpointOptions& options,
                   practice::Manners& manners, Files& files) {
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
      files.bodies = value;
    } else if (word == "--events") {
      files.events = value;
    } else if (word == "--certificate" || word == "--key") {
      if (!options.tls) options.tls.emplace();
      (word == "--key" ? options.tls->private_key : options.tls->certificate_chain) = value;
    } else {
      return false;
    }
  }
  return true;
}

/// What Provenance resources say they were made from, read off the text as dwelld writes it.
std::string EventsIn(std::string_view body) {
  constexpr std::string_view kEntity = "\"entity\":[";
  constexpr std::string_view kValue = "\"value\":\"";
  std::string ids;
  for (auto at = body.find(kEntity); at != body.npos; at = body.find(kEntity, at)) {
    const auto end = body.find(']', at += kEntity.size());
    for (at = body.find(kValue, at); at < end; at = body.find(kValue, at)) {
      at += kValue.size();
      ids.append(ids.empty() ? "" : " ").append(body.substr(at, body.find('"', at) - at));
    }
    at = end;
  }
  return ids.empty() ? "-" : ids;
}

/// Each body that is committed is told to the files that have a name. False: one cannot be written.
bool TellFiles(const Files& files, std::ofstream& bodies, std::ofstream& events,
               practice::Desk& desk) {
  if (!files.bodies.empty()) bodies.open(files.bodies, std::ios::trunc);
  if (!files.events.empty()) events.open(files.events, std::ios::trunc);
  if (!bodies || !events) return false;
  desk.OnCommit([&bodies, &events](std::string_view body) {
    CHECK(body.find('\n') == body.npos);  // dwelld sends none; a line would no longer be a body
    if (bodies.is_open()) bodies << body << std::endl;  // a reader may come while the program runs
    if (events.is_open()) events << EventsIn(body) << std::endl;
  });
  return true;
}

}  // namespace

int main(int count, char** words) {
  practice::EndpointOptions options;
  practice::Manners manners;
  Files files;
  std::ofstream bodies, events;  // outlive the endpoint, which writes to them
  if (!ReadArguments(count, words, options, manners, files)) {
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
  if (!TellFiles(files, bodies, events, (*endpoint)->desk())) {
    std::fputs("practice_endpoint: cannot write the files it was given\n", stderr);
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
