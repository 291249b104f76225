#include "daemon/app/arguments.h"

#include <CLI/CLI.hpp>
#include <algorithm>

#include "daemon/config/exit_code.h"
#include "daemon/config/version.h"

namespace dwell::app {

Arguments ReadArguments(std::vector<std::string> arguments) {
  Arguments read;
  CLI::App cli(
      "Takes ward events about vascular lines over HTTP, turns them into FHIR resources, stores "
      "them "
      "durably and delivers them. Stops cleanly on SIGTERM.",
      "dwelld");
  cli.add_option("--config", read.config_file, "configuration file, see dwelld.toml(5)")
      ->required()
      ->type_name("FILE");
  cli.set_version_flag("--version", std::string(config::kVersion));
  std::reverse(arguments.begin(), arguments.end());  // as the library wants them
  try {
    cli.parse(arguments);
  } catch (const CLI::ParseError& error) {
    const bool asked = error.get_exit_code() == 0;  // --help, --version
    cli.exit(error);
    read.exit_code = asked ? 0 : config::ExitCode(ErrorKind::kUsage);
  }
  return read;
}

}  // namespace dwell::app
