#include "daemon/store/file_check.h"

#include <sqlite3.h>

#include <array>
#include <cstring>
#include <memory>
#include <vector>

#include "daemon/store/connection.h"
#include "daemon/store/migrations.h"
#include "schemas/base/check.h"

namespace dwell::store {
namespace {

constexpr std::size_t kHeaderBytes = 100;  // SQLite file format, section 1.3
using Header = std::array<unsigned char, kHeaderBytes>;

std::uint32_t BigEndian32(const Header& header, std::size_t offset) {
  return std::uint32_t{header.at(offset)} << 24 | std::uint32_t{header.at(offset + 1)} << 16 |
         std::uint32_t{header.at(offset + 2)} << 8 | std::uint32_t{header.at(offset + 3)};
}

std::uint32_t PageBytes(const Header& header) {
  const std::uint32_t stored = std::uint32_t{header[16]} << 8 | std::uint32_t{header[17]};
  return stored == 1 ? 65536 : stored;
}

Result<void> ReadHeader(const Files& files, const std::string& path, Header& header) {
  sqlite3_vfs* vfs = sqlite3_vfs_find(files.vfs());
  CHECK(vfs != nullptr);
  std::vector<std::max_align_t> memory(
      static_cast<std::size_t>(vfs->szOsFile) / sizeof(std::max_align_t) + 1);
  auto* file = reinterpret_cast<sqlite3_file*>(memory.data());
  const int flags = SQLITE_OPEN_READONLY | SQLITE_OPEN_MAIN_DB;
  int code = vfs->xOpen(vfs, path.c_str(), file, flags, nullptr);
  if (code == SQLITE_OK) code = file->pMethods->xRead(file, header.data(), kHeaderBytes, 0);
  if (file->pMethods != nullptr) file->pMethods->xClose(file);
  if (code == SQLITE_IOERR_SHORT_READ) return {};  // the rest is zero and fails the checks
  if (code != SQLITE_OK) return StoreError(nullptr, code, "reading its header");
  return {};
}

// A file with a log may be shorter than its header says: the process may have ended while it moved
// the log's pages into the file, and will do it again.
Result<void> CheckHeader(const std::string& path, const Header& header, std::uint64_t file_bytes,
                         bool has_log) {
  const std::string at = " (" + path + "); it was left as it is";
  if (std::memcmp(header.data(), "SQLite format 3", 16) != 0 ||
      BigEndian32(header, 68) != kApplicationId) {
    return Error(ErrorKind::kForeign, "the file is not a store of this program" + at);
  }
  const std::uint32_t version = BigEndian32(header, 60);
  if (version > static_cast<std::uint32_t>(StoreVersion())) {
    return Error(ErrorKind::kForeign, "the store has version " + std::to_string(version) +
                                          ", newer than this program's " +
                                          std::to_string(StoreVersion()) + at);
  }
  const std::uint64_t page_bytes = PageBytes(header);
  const std::uint64_t pages = BigEndian32(header, 28);
  if (version == 0 || page_bytes < 512 || (!has_log && file_bytes < pages * page_bytes)) {
    return Error(ErrorKind::kCorrupt, "the store's file is shorter than its header says" + at);
  }
  return {};
}

}  // namespace

Result<FileState> CheckFile(const Files& files, const std::string& path) {
  const Result<Files::Seen> log = files.LookAt(path + "-wal");
  const bool has_log = log.has_value() && log->kind != Files::Kind::kNone && log->bytes > 0;
  const Result<Files::Seen> seen = files.LookAt(path);
  if (seen.has_error()) return seen.error();
  if (seen->kind == Files::Kind::kNone) {
    if (has_log) {
      return Error(ErrorKind::kCorrupt, "the store's file " + path +
                                            " is gone but its log (-wal) is there; put the file "
                                            "back, or move the log away to start anew");
    }
    return FileState::kMissing;
  }
  if (seen->kind != Files::Kind::kFile) return Error(ErrorKind::kForeign, path + " is not a file");
  Header header{};
  const Result<void> read = ReadHeader(files, path, header);
  if (read.has_error()) return read.error();
  const Result<void> checked = CheckHeader(path, header, seen->bytes, has_log);
  if (checked.has_error()) return checked.error();
  return FileState::kOurs;
}

}  // namespace dwell::store
