// A library to be preloaded into the daemon (LD_PRELOAD): the system calls below it misbehave as a
// file says that somebody else writes while the daemon runs. Built by tests/faults/run.
#include <dlfcn.h>
#include <fcntl.h>
#include <sys/mman.h>
#include <sys/statvfs.h>
#include <sys/syscall.h>
#include <sys/time.h>
#include <sys/timex.h>
#include <unistd.h>

#include <cerrno>
#include <cstdarg>
#include <cstdint>
#include <cstdlib>
#include <cstring>
#include <ctime>

namespace {

enum Call : std::int64_t { kNothing, kSync, kWrite, kTruncate, kRead, kOpen };

/// The file that DWELL_FAULTS names; also written by tests/faults/faulty.py, in the same order.
struct Control {
  volatile std::int64_t clock_ahead_ms;  ///< of the wall clock; the steady clock stays true
  volatile std::int64_t call;            ///< which one is to fail
  volatile std::int64_t first, count;    ///< from the `first`th on (1 is the next), so many
  volatile std::int64_t error;           ///< errno
  volatile std::int64_t seen;            ///< calls of that sort since it was armed
  volatile std::int64_t failed;          ///< of them, those that were made to fail
  volatile std::int64_t free_bytes;      ///< what statvfs tells; negative: the truth
  volatile std::int64_t clock_vouched;   ///< whether a time service says that the clock is right
  volatile std::int64_t stalls;          ///< not 0: syncs of the store's files wait until it is
};

Control* MapControl() {
  const char* const path = std::getenv("DWELL_FAULTS");
  if (path == nullptr) return nullptr;
  const int file = static_cast<int>(syscall(SYS_openat, AT_FDCWD, path, O_RDWR | O_CLOEXEC));
  if (file < 0) return nullptr;
  void* const memory = mmap(nullptr, sizeof(Control), PROT_READ | PROT_WRITE, MAP_SHARED, file, 0);
  close(file);
  return memory == MAP_FAILED ? nullptr : static_cast<Control*>(memory);
}

Control* control() {
  static Control* const mapped = MapControl();
  return mapped;
}

bool IsStore(const char* path) { return std::strstr(path, "/store.db") != nullptr; }

bool IsStore(int file) {
  char link[64], path[4096];
  char* end = link + sizeof link;
  *--end = '\0';
  for (unsigned number = static_cast<unsigned>(file); number > 0 || *end == '\0'; number /= 10) {
    *--end = static_cast<char>('0' + number % 10);
  }
  constexpr char kFolder[] = "/proc/self/fd/";
  end -= sizeof kFolder - 1;
  std::memcpy(end, kFolder, sizeof kFolder - 1);
  const ssize_t size = readlink(end, path, sizeof path - 1);
  if (size <= 0) return false;
  path[size] = '\0';
  return IsStore(path);
}

/// Whether this call is one of those that must fail; errno is set then.
template <class File>
bool Fails(Call call, File file) {
  Control* const plan = control();
  if (plan == nullptr || plan->call != call || !IsStore(file)) return false;
  const std::int64_t number = __atomic_add_fetch(&plan->seen, 1, __ATOMIC_RELAXED);
  if (number < plan->first || number >= plan->first + plan->count) return false;
  __atomic_add_fetch(&plan->failed, 1, __ATOMIC_RELAXED);
  errno = static_cast<int>(plan->error);
  return true;
}

/// A disk that does not answer.
void Stall(int file) {
  while (control() != nullptr && control()->stalls != 0 && IsStore(file)) usleep(5'000);
}

/// The function that this one stands before.
template <class Function>
Function* Next(const char* name) {
  return reinterpret_cast<Function*>(dlsym(RTLD_NEXT, name));
}

}  // namespace

extern "C" {

int fdatasync(int file) {
  Stall(file);
  if (Fails(kSync, file)) return -1;
  return static_cast<int>(syscall(SYS_fdatasync, file));
}

int fsync(int file) {
  Stall(file);
  if (Fails(kSync, file)) return -1;
  return static_cast<int>(syscall(SYS_fsync, file));
}

ssize_t pwrite64(int file, const void* bytes, size_t size, off64_t at) {
  if (Fails(kWrite, file)) {
    // Half of it is written all the same, as disks do.
    const int error = errno;
    static_cast<void>(syscall(SYS_pwrite64, file, bytes, size / 2, at));
    errno = error;
    return -1;
  }
  return syscall(SYS_pwrite64, file, bytes, size, at);
}

int ftruncate64(int file, off64_t size) noexcept {
  if (Fails(kTruncate, file)) return -1;
  return static_cast<int>(syscall(SYS_ftruncate, file, size));
}

ssize_t pread64(int file, void* bytes, size_t size, off64_t at) {
  if (Fails(kRead, file)) return -1;
  return syscall(SYS_pread64, file, bytes, size, at);
}

int open64(const char* path, int flags, ...) {
  va_list more;
  va_start(more, flags);
  const mode_t mode = (flags & (O_CREAT | O_TMPFILE)) != 0 ? va_arg(more, mode_t) : 0;
  va_end(more);
  if (Fails(kOpen, path)) return -1;
  return static_cast<int>(syscall(SYS_openat, AT_FDCWD, path, flags, mode));
}

int statvfs64(const char* path, struct statvfs64* space) noexcept {
  static auto* const real = Next<decltype(statvfs64)>("statvfs64");
  const int code = real(path, space);
  if (code == 0 && control() != nullptr && control()->free_bytes >= 0) {
    space->f_bavail = static_cast<fsblkcnt64_t>(control()->free_bytes) / space->f_frsize;
  }
  return code;
}

int statvfs(const char* path, struct statvfs* space) noexcept {
  static auto* const real = Next<decltype(statvfs)>("statvfs");
  const int code = real(path, space);
  if (code == 0 && control() != nullptr && control()->free_bytes >= 0) {
    space->f_bavail = static_cast<fsblkcnt_t>(control()->free_bytes) / space->f_frsize;
  }
  return code;
}

int clock_gettime(clockid_t clock, timespec* now) noexcept {
  const int code = static_cast<int>(syscall(SYS_clock_gettime, clock, now));
  const bool is_wall = clock == CLOCK_REALTIME || clock == CLOCK_REALTIME_COARSE;
  if (code != 0 || !is_wall || control() == nullptr) return code;
  const std::int64_t ns = now->tv_nsec + control()->clock_ahead_ms % 1000 * 1'000'000;
  const std::int64_t carried = ns < 0 ? -1 : ns / 1'000'000'000;
  now->tv_sec += control()->clock_ahead_ms / 1000 + carried;
  now->tv_nsec = ns - carried * 1'000'000'000;
  return code;
}

/// Whether a time service vouches for the clock: one that follows our false one, or none.
int adjtimex(timex* state) noexcept {
  *state = {};
  const bool is_vouched = control() != nullptr && control()->clock_vouched != 0;
  state->status = is_vouched ? 0 : STA_UNSYNC;
  return is_vouched ? TIME_OK : TIME_ERROR;
}

time_t time(time_t* into) noexcept {
  timespec now{};
  clock_gettime(CLOCK_REALTIME, &now);
  if (into != nullptr) *into = now.tv_sec;
  return now.tv_sec;
}

int gettimeofday(timeval* into, void* /*zone*/) noexcept {
  timespec now{};
  const int code = clock_gettime(CLOCK_REALTIME, &now);
  into->tv_sec = now.tv_sec;
  into->tv_usec = now.tv_nsec / 1000;
  return code;
}
}
