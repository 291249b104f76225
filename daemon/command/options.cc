#include "daemon/command/options.h"

#include <CLI/CLI.hpp>
#include <algorithm>

#include "daemon/config/exit_code.h"
#include "daemon/config/version.h"
#include "mapping/explain/explain.h"

namespace dwell::command {

Options ReadOptions(std::vector<std::string> arguments) {
  Options options;
  CLI::App cli("Asks and instructs a running dwelld over its local admin socket.", "dwell");
  cli.require_subcommand(1);
  cli.fallthrough();
  cli.set_version_flag("--version", std::string(config::kVersion));
  cli.add_option("--config", options.config_file,
                 "configuration file of the daemon; default /etc/dwelld/dwelld.toml")
      ->type_name("FILE");
  cli.add_option("--socket", options.socket, "the daemon's admin socket, instead of --config")
      ->type_name("PATH");

  auto* const check =
      cli.add_subcommand("check", "what is wrong with the configuration, and where");
  auto* const explain = cli.add_subcommand("explain", "where each field of an event ends up");
  auto* const submit = cli.add_subcommand("submit", "submit events from a file, an answer each");
  auto* const queue = cli.add_subcommand("queue", "what waits for delivery, since when, and why");
  auto* const show = cli.add_subcommand("show", "what became of one event");
  auto* const lines = cli.add_subcommand("lines", "lines in place and what is due");
  auto* const status = cli.add_subcommand("status", "counts, clock, last failure");
  for (auto* const listing : {explain, submit, queue, show, lines, status}) {
    listing->add_flag("--json", options.json, "one JSON object a line, for programs");
  }
  const auto kinds = dwell::explain::Kinds();
  explain->add_option("kind", options.kind, "kind of event")
      ->required()
      ->type_name("KIND")
      ->check(CLI::IsMember(std::vector<std::string>(kinds.begin(), kinds.end())));
  submit
      ->add_option("file", options.file,
                   "JSON (one event) or NDJSON (one a line); - is standard input")
      ->required()
      ->type_name("FILE");
  submit->add_flag("--progress", options.progress, "show progress even if no terminal");
  show->add_option("event", options.event, "id of the event")->required()->type_name("EVENT");
  show->add_option("--source", options.source, "source of the event, if several use the id");
  lines->add_flag("--all", options.all, "also those removed or never placed");
  check->add_flag("--verbose", options.verbose, "also list the codes that go out in our own words");

  std::reverse(arguments.begin(), arguments.end());  // as the library wants them
  try {
    cli.parse(arguments);
    options.verb = cli.get_subcommands().front()->get_name();
  } catch (const CLI::ParseError& error) {
    const bool asked = error.get_exit_code() == 0;  // --help, --version
    cli.exit(error);
    options.exit_code = asked ? 0 : config::ExitCode(ErrorKind::kUsage);
  }
  return options;
}

}  // namespace dwell::command
