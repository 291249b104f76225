#include "daemon/store/log_rewrite.h"

#include <sqlite3.h>

#include <algorithm>
#include <cstddef>
#include <vector>

#include "daemon/base/limits.h"
#include "daemon/store/connection.h"
#include "schemas/base/check.h"

namespace dwell::store {
namespace {

/// The open log, through SQLite's file layer.
class LogFile {
 public:
  LogFile(sqlite3_vfs& vfs, const std::string& name)
      : memory_(static_cast<std::size_t>(vfs.szOsFile) / sizeof(std::max_align_t) + 1) {
    constexpr int kFlags = SQLITE_OPEN_READWRITE | SQLITE_OPEN_WAL;
    code_ = vfs.xOpen(&vfs, name.c_str(), get(), kFlags, nullptr);
  }
  ~LogFile() {
    if (get()->pMethods != nullptr) get()->pMethods->xClose(get());
  }
  LogFile(const LogFile&) = delete;
  LogFile& operator=(const LogFile&) = delete;

  int code() const { return code_; }
  sqlite3_file* get() { return reinterpret_cast<sqlite3_file*>(memory_.data()); }

 private:
  std::vector<std::max_align_t> memory_;
  int code_;
};

int Rewrite(LogFile& log, sqlite3_int64 size) {
  constexpr sqlite3_int64 kChunkBytes = limits::kMiB;
  std::vector<char> chunk(static_cast<std::size_t>(std::min(size, kChunkBytes)));
  const sqlite3_io_methods& file = *log.get()->pMethods;
  int code = SQLITE_OK;
  for (sqlite3_int64 at = 0; at < size && code == SQLITE_OK; at += kChunkBytes) {
    const auto bytes = static_cast<int>(std::min(size - at, kChunkBytes));
    code = file.xRead(log.get(), chunk.data(), bytes, at);
    if (code == SQLITE_OK) code = file.xWrite(log.get(), chunk.data(), bytes, at);
  }
  return code == SQLITE_OK ? file.xSync(log.get(), SQLITE_SYNC_NORMAL) : code;
}

}  // namespace

Result<void> RewriteLog(const Files& files, const std::string& path) {
  const std::string name = path + "-wal";
  const Result<Files::Seen> seen = files.LookAt(name);
  if (seen.has_error()) return seen.error();
  if (seen->bytes == 0) return {};
  sqlite3_vfs* vfs = sqlite3_vfs_find(files.vfs());
  CHECK(vfs != nullptr);
  LogFile log(*vfs, name);
  int code = log.code();
  if (code == SQLITE_OK) code = Rewrite(log, static_cast<sqlite3_int64>(seen->bytes));
  if (code == SQLITE_FULL) return {};
  if (code != SQLITE_OK) return StoreError(nullptr, code, "writing the log again");
  return {};
}

}  // namespace dwell::store
