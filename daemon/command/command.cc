#include "daemon/command/command.h"

#include <unistd.h>

#include <cstdio>

#include "daemon/command/check.h"
#include "daemon/command/decide.h"
#include "daemon/command/explain.h"
#include "daemon/command/listings.h"
#include "daemon/command/options.h"
#include "daemon/command/reconcile.h"
#include "daemon/command/reload.h"
#include "daemon/command/remap.h"
#include "daemon/command/submit.h"
#include "daemon/command/ward.h"
#include "daemon/config/config.h"
#include "daemon/config/exit_code.h"

namespace dwell::command {
namespace {

std::string ConfigFile(const Options& options) {
  return options.config_file.empty() ? kDefaultConfig : options.config_file;
}

/// The socket that is meant, from --socket or from the configuration.
Result<std::string> SocketPath(const Options& options) {
  if (!options.socket.empty()) return options.socket;
  const auto config = config::LoadConfig(ConfigFile(options), config::DwelldEnvironment());
  if (config) return config->admin.socket;
  std::string text;
  for (const auto& finding : config.error()) text += config::FormatFinding(finding) + "\n";
  return Error(ErrorKind::kConfig, text + "--config or --socket must say which daemon is meant");
}

int Complain(const Error& error) {
  std::fprintf(stderr, "dwell: %s\n", error.message().c_str());
  return config::ExitCode(error.kind());
}

struct Verb {
  std::string_view name;
  Result<int> (*run)(const std::string& socket, const Options& options);
};

constexpr Verb kVerbs[] = {
    {"submit", Submit},       {"queue", ListQueue}, {"lines", ListLines},       {"show", ShowEvent},
    {"status", ShowStatus},   {"release", Decide},  {"cancel", Decide},         {"remap", Remap},
    {"reconcile", Reconcile}, {"reload", Reload},   {"handover", PrintHandover}};

}  // namespace

int RunCommand(const std::vector<std::string>& arguments) {
  const Options options = ReadOptions(arguments);
  if (options.verb.empty()) return options.exit_code;
  if (options.verb == "check") return Check(ConfigFile(options), options);
  if (options.verb == "explain") return ExplainKind(options);
  const auto socket = SocketPath(options);
  if (!socket) return Complain(socket.error());
  for (const Verb& verb : kVerbs) {
    if (options.verb != verb.name) continue;
    const auto ended = verb.run(*socket, options);
    return ended ? *ended : Complain(ended.error());
  }
  return config::ExitCode(ErrorKind::kUsage);
}

}  // namespace dwell::command
