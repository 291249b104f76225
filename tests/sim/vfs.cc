// SQLite's file layer (sqlite.org/c3ref/vfs.html) over a Disk. One process, one connection: locks
// always succeed, and there is no shared memory, so that a log needs the exclusive locking mode.
#include <sqlite3.h>

#include <array>
#include <cstring>
#include <new>
#include <string>

#include "tests/sim/disk.h"

namespace dwell::sim {
namespace {

struct Handle {
  sqlite3_file base{};  // first: SQLite sees only this
  Disk* disk = nullptr;
  std::shared_ptr<Inode> inode;
  bool syncs_folder = false;  // with the next sync: it may be that we made the file
};

Handle& Of(sqlite3_file* file) { return *reinterpret_cast<Handle*>(file); }
Disk& DiskOf(sqlite3_vfs* vfs) { return *static_cast<Disk*>(vfs->pAppData); }

int Told(Code code, int error) {
  if (code == Code::kGood) return SQLITE_OK;
  return code == Code::kFull ? SQLITE_FULL : error;
}

int Close(sqlite3_file* file) {
  Of(file).~Handle();
  return SQLITE_OK;
}

int Read(sqlite3_file* file, void* into, int size, sqlite3_int64 at) {
  std::string_view bytes;
  const auto wanted = static_cast<std::size_t>(size);
  const Code code =
      Of(file).disk->Read(*Of(file).inode, static_cast<std::uint64_t>(at), wanted, bytes);
  if (code != Code::kGood) return SQLITE_IOERR_READ;
  if (!bytes.empty()) std::memcpy(into, bytes.data(), bytes.size());
  if (bytes.size() == wanted) return SQLITE_OK;
  std::memset(static_cast<char*>(into) + bytes.size(), 0, wanted - bytes.size());
  return SQLITE_IOERR_SHORT_READ;
}

int Write(sqlite3_file* file, const void* from, int size, sqlite3_int64 at) {
  const std::string_view bytes(static_cast<const char*>(from), static_cast<std::size_t>(size));
  const auto offset = static_cast<std::uint64_t>(at);
  return Told(Of(file).disk->Write(*Of(file).inode, offset, bytes), SQLITE_IOERR_WRITE);
}

int Truncate(sqlite3_file* file, sqlite3_int64 size) {
  const Code code = Of(file).disk->Truncate(*Of(file).inode, static_cast<std::uint64_t>(size));
  return Told(code, SQLITE_IOERR_TRUNCATE);
}

int Sync(sqlite3_file* file, int) {
  Handle& handle = Of(file);
  const Code code = handle.disk->Sync(*handle.inode, handle.syncs_folder);
  if (code == Code::kGood) handle.syncs_folder = false;
  return Told(code, SQLITE_IOERR_FSYNC);
}

int FileSize(sqlite3_file* file, sqlite3_int64* size) {
  *size = static_cast<sqlite3_int64>(Of(file).inode->now.size());
  return SQLITE_OK;
}

int Lock(sqlite3_file*, int) { return SQLITE_OK; }
int CheckReservedLock(sqlite3_file*, int* held) {
  *held = 0;
  return SQLITE_OK;
}
int FileControl(sqlite3_file*, int, void*) { return SQLITE_NOTFOUND; }
// As on Linux by default: a sector holds 4096 bytes, and what surrounds a write stays whole.
int SectorSize(sqlite3_file*) { return 4096; }
int DeviceCharacteristics(sqlite3_file*) { return SQLITE_IOCAP_POWERSAFE_OVERWRITE; }

const sqlite3_io_methods& Methods() {
  static const sqlite3_io_methods methods = [] {
    sqlite3_io_methods made{};
    made.iVersion = 1;
    made.xClose = Close;
    made.xRead = Read;
    made.xWrite = Write;
    made.xTruncate = Truncate;
    made.xSync = Sync;
    made.xFileSize = FileSize;
    made.xLock = Lock;
    made.xUnlock = Lock;
    made.xCheckReservedLock = CheckReservedLock;
    made.xFileControl = FileControl;
    made.xSectorSize = SectorSize;
    made.xDeviceCharacteristics = DeviceCharacteristics;
    return made;
  }();
  return methods;
}

int Open(sqlite3_vfs* vfs, const char* name, sqlite3_file* file, int flags, int* out_flags) {
  file->pMethods = nullptr;
  std::shared_ptr<Inode> inode;
  const bool creates = (flags & SQLITE_OPEN_CREATE) != 0;
  bool syncs_folder = false;
  if (name == nullptr) {
    inode = std::make_shared<Inode>();  // a temporary file: nobody misses it
  } else {
    const Code code = DiskOf(vfs).Open(name, creates, inode);
    if (code != Code::kGood) return Told(code, SQLITE_CANTOPEN);
    constexpr int kJournals = SQLITE_OPEN_MAIN_JOURNAL | SQLITE_OPEN_WAL;
    syncs_folder = creates && (flags & kJournals) != 0;
  }
  auto* handle = new (file) Handle();
  handle->disk = &DiskOf(vfs);
  handle->inode = std::move(inode);
  handle->syncs_folder = syncs_folder;
  handle->base.pMethods = &Methods();
  if (out_flags != nullptr) *out_flags = flags;
  return SQLITE_OK;
}

int Delete(sqlite3_vfs* vfs, const char* name, int syncs) {
  if (DiskOf(vfs).Find(name) == nullptr) return SQLITE_IOERR_DELETE_NOENT;
  return Told(DiskOf(vfs).Delete(name, syncs != 0), SQLITE_IOERR_DELETE);
}

int Access(sqlite3_vfs* vfs, const char* name, int, int* is_there) {
  *is_there = DiskOf(vfs).Find(name) != nullptr ? 1 : 0;
  return SQLITE_OK;
}

int FullPathname(sqlite3_vfs*, const char* name, int size, char* full) {
  sqlite3_snprintf(size, full, "%s", name);
  return SQLITE_OK;
}

int Randomness(sqlite3_vfs*, int size, char* into) {
  std::memset(into, 7, static_cast<std::size_t>(size));
  return size;
}
int Sleep(sqlite3_vfs*, int microseconds) { return microseconds; }
int CurrentTime(sqlite3_vfs*, double* julian_day) {
  *julian_day = 2'461'101.5;  // no statement of ours asks for the time
  return SQLITE_OK;
}
int GetLastError(sqlite3_vfs*, int, char*) { return 0; }

}  // namespace

std::unique_ptr<sqlite3_vfs> RegisterVfs(Disk& disk, const std::string& name) {
  auto vfs = std::make_unique<sqlite3_vfs>();
  *vfs = {};
  vfs->iVersion = 1;
  vfs->szOsFile = sizeof(Handle);
  vfs->mxPathname = 512;
  vfs->zName = name.c_str();
  vfs->pAppData = &disk;
  vfs->xOpen = Open;
  vfs->xDelete = Delete;
  vfs->xAccess = Access;
  vfs->xFullPathname = FullPathname;
  vfs->xRandomness = Randomness;
  vfs->xSleep = Sleep;
  vfs->xCurrentTime = CurrentTime;
  vfs->xGetLastError = GetLastError;
  sqlite3_vfs_register(vfs.get(), 0);
  return vfs;
}

void UnregisterVfs(sqlite3_vfs& vfs) { sqlite3_vfs_unregister(&vfs); }

}  // namespace dwell::sim
