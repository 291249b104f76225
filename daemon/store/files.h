// What the store does with files by itself, beside SQLite: looking at them, and making a new one.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "schemas/base/result.h"

namespace dwell::store {

/// The system's files, or those of a test that loses what was not synced.
class Files {
 public:
  enum class Kind : std::uint8_t { kNone, kFile, kOther };
  struct Seen {
    Kind kind = Kind::kNone;
    std::uint64_t bytes = 0;
  };

  virtual ~Files() = default;
  /// Name of the SQLite file layer (VFS) for the same files; null: SQLite's own choice.
  virtual const char* vfs() const = 0;
  /// Errors: kIo.
  virtual Result<Seen> LookAt(const std::string& path) const = 0;
  /// Writes and syncs a file that only its owner may read, in place of what was there. Its name is
  /// not synced, see SyncFolder(). Errors: kFull, kIo.
  virtual Result<void> Write(const std::string& path, std::string_view bytes) = 0;
  /// A second name for a file, not synced; nothing happens when something has that name already.
  /// Errors: kFull, kIo.
  virtual Result<void> Link(const std::string& from, const std::string& to) = 0;
  /// Takes a name away, if it is there. Not synced.
  virtual void Remove(const std::string& path) = 0;
  /// Names in the folder of `path` are on disk as they now are. Errors: kIo.
  virtual Result<void> SyncFolderOf(const std::string& path) = 0;
  /// Room on the file system of `path`, in bytes; empty when it cannot be asked.
  virtual std::optional<std::uint64_t> FreeBytes(const std::string& path) const = 0;
};

/// The system's.
Files& SystemFiles();

}  // namespace dwell::store
