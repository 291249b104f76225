#include <sqlite3.h>
#include <unistd.h>

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

}  // namespace

Result<void> CreateFile(Files& files, const std::string& path) {
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
  done = files.Write(draft,
                     {reinterpret_cast<const char*>(image.get()), static_cast<std::size_t>(bytes)});
  // Where a file of that name has appeared meanwhile it stays; that one is then opened.
  if (done.has_value()) done = files.Link(draft, path);
  files.Remove(draft);
  if (done.has_error()) return done;
  return files.SyncFolderOf(path);
}

}  // namespace dwell::store
