#include "daemon/command/options.h"

#include <CLI/CLI.hpp>
#include <algorithm>

#include "daemon/config/exit_code.h"
#include "daemon/config/version.h"
#include "mapping/explain/explain.h"

namespace dwell::command {

namespace {

constexpr const char* kReleaseHelp =
    "a delivery on hold goes again, first of its line. One that holds a resource of ours that is "
    "not legal is made anew, together with what waits behind it";
constexpr const char* kCancelHelp =
    "a delivery on hold is given up and kept; its line moves on. What it held counts as not "
    "issued: the line's next delivery carries what of it is still so";

constexpr const char* kRemapHelp =
    "derives lines again from their events, by the codes and rules as they now are, and shows what "
    "differs from what was issued; with --send that goes out";

constexpr const char* kReconcileHelp =
    "reads back what the endpoint accepted in a period and tells what is missing or differs; with "
    "--send that goes out again";

constexpr const char* kReloadHelp =
    "the daemon reads its configuration, policy, code maps, additions and tz data again, without a "
    "restart; then every line that is not over is derived again and what differs goes out";

/// Release and cancel: who and why must be said.
void AddDecisions(CLI::App& cli, Options& options) {
  auto* const release = cli.add_subcommand("release", kReleaseHelp);
  auto* const cancel = cli.add_subcommand("cancel", kCancelHelp);
  auto* const target =
      release->add_option("target", options.target, "id of an event, or number of a delivery")
          ->type_name("EVENT|DELIVERY");
  release->add_option("--source", options.source, "source of the event, if several use the id")
      ->type_name("SOURCE")
      ->needs(target);
  release
      ->add_option("--all-of", options.all_of,
                   "all on hold whose reason, as the queue shows it, contains this")
      ->type_name("REASON")
      ->excludes(target);
  cancel->add_option("target", options.target, "number of the delivery, as the queue shows it")
      ->required()
      ->type_name("DELIVERY");
  for (auto* const decision : {release, cancel}) {
    decision->add_option("--by", options.by, "who decides")->required()->type_name("WHO");
    decision->add_option("--why", options.why, "why; kept for good")->required()->type_name("TEXT");
    decision->add_flag("--json", options.json, "one JSON object a line, for programs");
  }
}

/// To send, who and why must be said.
CLI::Option* AddSending(CLI::App& command, Options& options, const std::string& what) {
  auto* const send = command.add_flag("--send", options.send, what);
  auto* const by = command.add_option("--by", options.by, "who decides")->type_name("WHO");
  auto* const why =
      command.add_option("--why", options.why, "why; kept for good")->type_name("TEXT");
  by->needs(send);
  why->needs(send);
  send->needs(by);
  send->needs(why);
  command.add_flag("--progress", options.progress, "show progress even if no terminal");
  command.add_flag("--json", options.json, "one JSON object a line, for programs");
  return send;
}

/// Which lines must be said.
void AddRemap(CLI::App& cli, Options& options) {
  auto* const remap = cli.add_subcommand("remap", kRemapHelp);
  auto* const which = remap->add_option_group("which lines, fitting all that is said");
  which->require_option(1, 3);
  auto* const all = which->add_flag("--all", options.all, "every line there is");
  which->add_option("--source", options.source, "lines of this source")
      ->type_name("SOURCE")
      ->excludes(all);
  which->add_option("--line", options.line, "lines of this id")->type_name("LINE")->excludes(all);
  which->add_option("--ward", options.ward, "lines now on this ward")
      ->type_name("WARD")
      ->excludes(all);
  AddSending(*remap, options, "send what differs");
}

/// Since when must be said.
void AddReconcile(CLI::App& cli, Options& options) {
  auto* const reconcile = cli.add_subcommand("reconcile", kReconcileHelp);
  reconcile
      ->add_option("--since", options.since,
                   "what was accepted since: a date-time with offset, or so long ago as 3d or 36h")
      ->required()
      ->type_name("TIME");
  reconcile->add_option("--until", options.until, "and until; likewise")->type_name("TIME");
  reconcile
      ->add_option("--endpoint", options.endpoint_name,
                   "of several, the one that is read back, also for what it never got; else the "
                   "main one")
      ->type_name("NAME");
  reconcile->add_option("--source", options.source, "lines of this source only")
      ->type_name("SOURCE");
  reconcile->add_option("--line", options.line, "lines of this id only")->type_name("LINE");
  reconcile->add_option("--ward", options.ward, "lines now on this ward only")->type_name("WARD");
  auto* const send =
      AddSending(*reconcile, options, "send what is missing or differs, as it was accepted");
  reconcile
      ->add_flag("--overwrite", options.overwrite,
                 "also what somebody else has changed since; without it that is only told")
      ->needs(send);
}

/// What the wards see.
void AddWard(CLI::App& cli, Options& options) {
  auto* const lines = cli.add_subcommand(
      "lines", "lines that may be in place and what is due, the most urgent first");
  lines->add_flag("--json", options.json, "one JSON object a line, for programs");
  auto* const all =
      lines->add_flag("--all", options.all,
                      "also those removed or never placed, in the order of their first events");
  lines->add_option("--ward", options.ward, "lines now on this ward only")
      ->type_name("WARD")
      ->excludes(all);
  lines
      ->add_option("--due-within", options.due_within,
                   "lines with something due by then, or due already: 90m, 4h, 2d")
      ->type_name("TIME")
      ->excludes(all);
  lines
      ->add_flag("--overdue", options.overdue, "lines with something overdue, or to be removed now")
      ->excludes(all);
  lines->add_option("--grade", options.grade, "lines last graded so high or higher")
      ->type_name("GRADE")
      ->check(CLI::Range(0, 9))
      ->excludes(all);
  auto* const handover =
      cli.add_subcommand("handover", "the list of a ward's lines for the handover, to be printed");
  handover->add_option("--ward", options.ward, "this ward only")->type_name("WARD");
  handover->add_flag("--html", options.html, "a page of HTML instead of text");
}

/// Who and why must be said: Tasks change by it.
void AddReload(CLI::App& cli, Options& options) {
  auto* const reload = cli.add_subcommand("reload", kReloadHelp);
  reload->add_option("--by", options.by, "who decides")->required()->type_name("WHO");
  reload->add_option("--why", options.why, "why; kept for good")->required()->type_name("TEXT");
  reload->add_flag("--progress", options.progress, "show progress even if no terminal");
  reload->add_flag("--json", options.json, "one JSON object a line, for programs");
}

}  // namespace

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
  auto* const status = cli.add_subcommand("status", "counts, clock, last failure");
  for (auto* const listing : {explain, submit, queue, show, status}) {
    listing->add_flag("--json", options.json, "one JSON object a line, for programs");
  }
  AddWard(cli, options);
  AddDecisions(cli, options);
  AddRemap(cli, options);
  AddReconcile(cli, options);
  AddReload(cli, options);
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
  check->add_flag("--verbose", options.verbose, "also list the codes that go out in our own words");
  auto* const endpoint =
      check
          ->add_option("--endpoint", options.endpoint_name,
                       "also ask the endpoint, or each of several, what it takes; what was found, "
                       "what dwelld does, what cannot work")
          ->expected(0, 1)
          ->type_name("[NAME]");
  check->add_flag("--json", options.json, "one JSON object a line, for programs")->needs(endpoint);

  std::reverse(arguments.begin(), arguments.end());  // as the library wants them
  try {
    cli.parse(arguments);
    options.verb = cli.get_subcommands().front()->get_name();
    options.endpoint = endpoint->count() > 0;
  } catch (const CLI::ParseError& error) {
    const bool asked = error.get_exit_code() == 0;  // --help, --version
    cli.exit(error);
    options.exit_code = asked ? 0 : config::ExitCode(ErrorKind::kUsage);
  }
  return options;
}

}  // namespace dwell::command
