#include "daemon/config/tz_data.h"

#include <cstdlib>
#include <filesystem>

#include "daemon/config/toml.h"

namespace dwell::config {
namespace {

std::filesystem::path Folder() {
  const char* const named = std::getenv("TZDIR");
  return named != nullptr && *named != '\0' ? named : "/usr/share/zoneinfo";
}

/// Names are paths below the folder, of the characters that the tz database uses. "localtime" would
/// mean whatever this machine is set to.
bool IsName(const std::string& name) {
  return !name.empty() && name != "localtime" && name.front() != '/' &&
         name.find("..") == std::string::npos &&
         name.find_first_not_of(
             "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"
             "0123456789/_+-") == std::string::npos;
}

/// The next word from `start` on.
std::string WordAt(const std::string& text, std::size_t start) {
  return text.substr(start, text.find_first_of(" \t\r\n", start) - start);
}

}  // namespace

Result<due::Zone> LoadZone(const std::string& name) {
  std::string bytes;  // none: Read() says what is wrong with the name
  if (IsName(name)) {
    auto read = ReadTextFile((Folder() / name).string());
    if (read) bytes = std::move(*read);
  }
  return due::Zone::Read(name, bytes);
}

std::string TzDataVersion() {
  constexpr std::string_view kMark = "# version ";
  const auto rules = ReadTextFile((Folder() / "tzdata.zi").string());
  if (rules && rules->starts_with(kMark)) return WordAt(*rules, kMark.size());
  const auto version = ReadTextFile((Folder() / "+VERSION").string());
  if (version && !WordAt(*version, 0).empty()) return WordAt(*version, 0);
  return "unknown";
}

}  // namespace dwell::config
