// The command line of dwelld.
#pragma once

#include <string>
#include <vector>

namespace dwell::app {

struct Arguments {
  std::string config_file;
  int exit_code = -1;  ///< not negative: nothing to run, exit with this
};

/// `arguments` without the program's name. Help, version and usage errors are printed here.
Arguments ReadArguments(std::vector<std::string> arguments);

}  // namespace dwell::app
