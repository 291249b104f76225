#include "daemon/store/files.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <sys/statvfs.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>

namespace dwell::store {
namespace {

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

std::string FolderOf(const std::string& path) {
  const std::size_t slash = path.rfind('/');
  return slash == std::string::npos ? "." : path.substr(0, slash + 1);
}

class PosixFiles final : public Files {
 public:
  const char* vfs() const override { return nullptr; }

  Result<Seen> LookAt(const std::string& path) const override {
    struct stat status {};
    if (::stat(path.c_str(), &status) != 0) {
      if (errno == ENOENT) return Seen{};
      return Error(ErrorKind::kIo, "cannot look at " + path + ": " + std::strerror(errno));
    }
    return Seen{S_ISREG(status.st_mode) ? Kind::kFile : Kind::kOther,
                static_cast<std::uint64_t>(status.st_size)};
  }

  Result<void> Write(const std::string& path, std::string_view bytes) override {
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

  Result<void> Link(const std::string& from, const std::string& to) override {
    if (::link(from.c_str(), to.c_str()) != 0 && errno != EEXIST) {
      return SystemError("create", to, errno);
    }
    return {};
  }

  void Remove(const std::string& path) override { ::unlink(path.c_str()); }

  Result<void> SyncFolderOf(const std::string& path) override {
    const std::string folder = FolderOf(path);
    const Descriptor opened(::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
    if (opened.get() < 0) return SystemError("open", folder, errno);
    if (::fsync(opened.get()) != 0) return SystemError("sync", folder, errno);
    return {};
  }

  std::optional<std::uint64_t> FreeBytes(const std::string& path) const override {
    struct statvfs space {};
    if (::statvfs(FolderOf(path).c_str(), &space) != 0) return std::nullopt;
    return std::uint64_t{space.f_bavail} * std::uint64_t{space.f_frsize};
  }
};

}  // namespace

Files& SystemFiles() {
  static PosixFiles files;
  return files;
}

}  // namespace dwell::store
