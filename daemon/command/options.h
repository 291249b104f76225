// What the command line of dwell asks for.
#pragma once

#include <optional>
#include <string>
#include <vector>

namespace dwell::command {

inline constexpr const char* kDefaultConfig = "/etc/dwelld/dwelld.toml";

struct Options {
  std::string verb;           ///< "check", "explain", "submit", "queue", "show", "lines", "status",
                              ///< "release", "cancel", "remap", "reconcile", "reload", "handover";
                              ///< empty: none
  std::string config_file;    ///< --config
  std::string socket;         ///< --socket
  bool json = false;          ///< --json
  bool verbose = false;       ///< check --verbose
  bool endpoint = false;      ///< check --endpoint
  std::string endpoint_name;  ///< check and reconcile --endpoint NAME; empty: all, the main one
  bool all = false;           ///< lines and remap --all
  bool overdue = false;       ///< lines --overdue
  std::string due_within;     ///< lines --due-within
  std::optional<int> grade;   ///< lines --grade
  bool html = false;          ///< handover --html
  bool send = false;          ///< remap and reconcile --send
  bool overwrite = false;     ///< reconcile --overwrite
  bool progress = false;      ///< submit, remap, reconcile, reload --progress
  std::string file;           ///< submit FILE
  std::string kind;           ///< explain KIND
  std::string event;          ///< show EVENT
  std::string source;         ///< show, release, remap and reconcile --source
  std::string line;           ///< remap and reconcile --line
  std::string ward;           ///< lines, handover, remap and reconcile --ward
  std::string since;          ///< reconcile --since
  std::string until;          ///< reconcile --until
  std::string target;         ///< release EVENT|DELIVERY, cancel DELIVERY
  std::string all_of;         ///< release --all-of
  std::string by;             ///< release, cancel, remap, reconcile and reload --by
  std::string why;            ///< release, cancel, remap, reconcile and reload --why
  int exit_code = 0;          ///< when there is no verb
};

/// `arguments` without the program's name. Help, version and usage errors are printed here.
Options ReadOptions(std::vector<std::string> arguments);

}  // namespace dwell::command
