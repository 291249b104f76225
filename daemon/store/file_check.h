// Looks at a store file before anything may write to it, so that a file that is not ours, newer
// than this program, or damaged is refused exactly as it was found.
#pragma once

#include <string>

#include "daemon/store/files.h"
#include "schemas/base/result.h"

namespace dwell::store {

enum class FileState : std::uint8_t { kMissing, kOurs };

/// Reads the header of the file at `path`. Fails with kForeign (not an SQLite file, another
/// application's, or a newer version), kCorrupt (a log without its file, fewer pages than the
/// header says), kIo. Reads through SQLite's file layer: closing a file of one's own would drop the
/// locks that this process holds on it (POSIX).
Result<FileState> CheckFile(const Files& files, const std::string& path);

/// Makes a new, complete store file at `path`, readable by its owner only. The file appears whole
/// or not at all, and never in place of one that is already there.
Result<void> CreateFile(Files& files, const std::string& path);

}  // namespace dwell::store
