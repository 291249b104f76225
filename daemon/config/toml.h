// TOML files as JSON documents, with the line of every value remembered for messages. Pure.
#pragma once

#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "schemas/json/document.h"

namespace dwell::config {

/// Something wrong with a file that a person wrote.
struct Finding {
  std::string file;
  std::size_t line = 0;  ///< from 1; 0: not known
  std::string pointer;   ///< JSON Pointer (RFC 6901) of the value; or empty
  std::string expected;  ///< what would have been right, in words
};

/// "dwelld.toml:12: /intake/port: an integer of at most 65535".
std::string FormatFinding(const Finding& finding);

/// One value that comes from elsewhere and wins over the file.
struct Override {
  enum class Type : std::uint8_t { kText, kInteger, kBool, kTexts };
  std::string section, key;
  Type type = Type::kText;
  std::string text;  ///< what is no integer or truth stays text, and the schema says so
};

/// A TOML (version 1.0) text as a JSON document.
struct TomlDocument {
  std::string file;
  schemas::Document document;
  std::map<std::string, std::size_t> lines;  ///< by JSON Pointer

  /// Where `pointer` is in the file, or what encloses it.
  std::size_t LineOf(std::string_view pointer) const;
};

/// Dates and times of TOML become strings. `file` is for messages only.
Result<TomlDocument, Finding> ReadToml(const std::string& file, std::string_view text,
                                       const std::vector<Override>& overrides = {});

/// A whole small file (at most 1 MiB). Errors: kConfig, naming the file and the reason.
Result<std::string> ReadTextFile(const std::string& path);

}  // namespace dwell::config
