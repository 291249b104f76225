#include "daemon/delivery/token.h"

#include <algorithm>
#include <fstream>

#include "daemon/base/limits.h"

namespace dwell::delivery {

bool IsToken(std::string_view text) {
  const auto is_visible = [](char c) { return c > 0x20 && c < 0x7F; };
  return !text.empty() && text.size() <= limits::kTokenBytesMax &&
         std::all_of(text.begin(), text.end(), is_visible);
}

Result<TokenFile> TokenFile::Open(const std::string& path) {
  TokenFile token;
  token.path_ = path;
  if (path.empty()) return token;
  if (auto read = token.Read(); !read) return read.error();
  return token;
}

Result<void> TokenFile::Read() {
  struct stat now {};
  std::string text(limits::kTokenBytesMax + 1, '\0');
  std::ifstream file(path_, std::ios::binary);
  if (!file || ::stat(path_.c_str(), &now) != 0) {
    return Error(ErrorKind::kConfig, "token file \"" + path_ + "\" cannot be read");
  }
  file.read(text.data(), static_cast<std::streamsize>(text.size()));
  text.resize(static_cast<std::size_t>(file.gcount()));
  while (!text.empty() && (text.back() == '\n' || text.back() == '\r' || text.back() == ' ')) {
    text.pop_back();
  }
  if (!IsToken(text)) {
    return Error(ErrorKind::kConfig, "token file \"" + path_ + "\" does not hold one token");
  }
  field_ = "Authorization: Bearer " + text + "\r\n";
  changed_ = now.st_mtim;
  file_ = now.st_ino;
  return {};
}

bool TokenFile::Refresh() {
  struct stat now {};
  if (path_.empty() || ::stat(path_.c_str(), &now) != 0) return false;
  if (now.st_ino == file_ && now.st_mtim.tv_sec == changed_.tv_sec &&
      now.st_mtim.tv_nsec == changed_.tv_nsec) {
    return false;
  }
  const std::string before = field_;
  return Read().has_value() && field_ != before;
}

}  // namespace dwell::delivery
