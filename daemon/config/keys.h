// Every key of the configuration: where its value is kept, and when a changed one counts.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <variant>
#include <vector>

#include "daemon/config/config.h"

namespace dwell::config {

using Texts = std::vector<std::string>;
using Field = std::variant<std::string*, std::int64_t*, bool*, Texts*>;

struct Key {
  /// Whether it names a file: relative to the folder of the configuration file.
  enum class Path : std::uint8_t { kNo, kYes };
  /// When a changed value counts: what ids, sockets, files and connections were made with stays
  /// until the next start.
  enum class When : std::uint8_t { kRestart, kReload };

  const char* section;
  const char* name;
  Field (*field)(Config&);
  Path path = Path::kNo;
  When when = When::kRestart;
};

/// In the order of the configuration file. Those of "endpoint" are also those of each table below
/// [endpoints].
std::span<const Key> AllKeys();

}  // namespace dwell::config
