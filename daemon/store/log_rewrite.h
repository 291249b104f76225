// Makes what the system shows of a store's log true on disk, before anything is built on it.
#pragma once

#include <string>

#include "daemon/store/files.h"

namespace dwell::store {

/// Writes the log beside the store at `path` (-wal), if there is one, over itself and syncs it. To
/// be called while the store is locked and before anything is written to it.
///
/// After a sync that failed, Linux shows the lost bytes until the machine is restarted, and takes
/// them for written: the next sync succeeds without them. Recovered from such a log, the store
/// would append what it then acknowledges behind a hole that a power cut lays open. Errors: kFull,
/// kIo.
Result<void> RewriteLog(const Files& files, const std::string& path);

}  // namespace dwell::store
