#include <fcntl.h>
#include <sqlite3.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <memory>
#include <string_view>

#include "daemon/store/connection.h"
#include "daemon/store/file_check.h"
#include "daemon/store/migrations.h"
#include "daemon/store/store.h"

namespace dwell::store {
namespace {

struct FreeImage {
  void operator()(unsigned char* image) const { sqlite3_free(image); }
};

class Descriptor {
 public:
  explicit Descriptor(int fd) : fd_(fd) {}
  ~Descriptor() {
    if (fd_ >= 0) ::close(fd_);
  }
  Descriptor(const Descriptor&) = delete;
  Descriptor& operator=(const Descriptor&) = delete;
  int get() const { return fd_; }

 private:
  int fd_;
};

Error SystemError(const std::string& doing, const std::string& path, int code) {
  const ErrorKind kind = code == ENOSPC || code == EDQUOT ? ErrorKind::kFull : ErrorKind::kIo;
  return {kind, "cannot " + doing + " " + path + ": " + std::strerror(code)};
}

Result<void> WriteWhole(const std::string& path, std::string_view bytes) {
  ::unlink(path.c_str());
  const Descriptor file(::open(path.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600));
  if (file.get() < 0) return SystemError("create", path, errno);
  while (!bytes.empty()) {
    const ssize_t written = ::write(file.get(), bytes.data(), bytes.size());
    if (written < 0 && errno == EINTR) continue;
    if (written < 0) return SystemError("write", path, errno);
    bytes.remove_prefix(static_cast<std::size_t>(written));
  }
  if (::fsync(file.get()) != 0) return SystemError("sync", path, errno);
  return {};
}

Result<void> SyncFolderOf(const std::string& path) {
  const std::size_t slash = path.rfind('/');
  const std::string folder = slash == std::string::npos ? "." : path.substr(0, slash + 1);
  const Descriptor opened(::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
  if (opened.get() < 0) return SystemError("open", folder, errno);
  if (::fsync(opened.get()) != 0) return SystemError("sync", folder, errno);
  return {};
}

}  // namespace

Result<void> CreateFile(const std::string& path) {
  sqlite3* raw = nullptr;
  const int code = sqlite3_open(":memory:", &raw);
  const DatabaseHandle memory(raw);
  if (code != SQLITE_OK) return StoreError(raw, code, "preparing a new store");
  // Incremental vacuum must be chosen before the first table, or the file could never shrink.
  const std::string settings = "PRAGMA page_size = " + std::to_string(kPageBytes) +
                               "; PRAGMA auto_vacuum = INCREMENTAL; PRAGMA application_id = " +
                               std::to_string(kApplicationId);
  Result<void> done = Execute(raw, settings.c_str());
  if (done.has_value()) done = Migrate(raw, 0, MigrationSteps());
  if (done.has_error()) return done;

  sqlite3_int64 bytes = 0;
  const std::unique_ptr<unsigned char, FreeImage> image(sqlite3_serialize(raw, "main", &bytes, 0));
  const std::string draft = path + ".new-" + std::to_string(::getpid());
  done = WriteWhole(draft,
                    {reinterpret_cast<const char*>(image.get()), static_cast<std::size_t>(bytes)});
  // link() refuses where a file of that name has appeared meanwhile; that one is then opened.
  if (done.has_value() && ::link(draft.c_str(), path.c_str()) != 0 && errno != EEXIST) {
    done = SystemError("create", path, errno);
  }
  ::unlink(draft.c_str());
  if (done.has_error()) return done;
  return SyncFolderOf(path);
}

}  // namespace dwell::store
