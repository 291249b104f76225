#include "tests/sim/log_capture.h"

#include <sys/mman.h>
#include <unistd.h>

#include "schemas/base/check.h"

namespace dwell::sim {

LogCapture::LogCapture()
    : memory_(::memfd_create("log", MFD_CLOEXEC)), stderr_(::dup(STDERR_FILENO)) {
  CHECK(memory_ >= 0 && stderr_ >= 0);
  CHECK(::dup2(memory_, STDERR_FILENO) == STDERR_FILENO);
}

LogCapture::~LogCapture() {
  ::dup2(stderr_, STDERR_FILENO);
  ::close(stderr_);
  ::close(memory_);
}

std::string LogCapture::Take() {
  const off_t size = ::lseek(memory_, 0, SEEK_END);
  std::string text(static_cast<std::size_t>(size), '\0');
  CHECK(::pread(memory_, text.data(), text.size(), 0) == size);
  CHECK(::ftruncate(memory_, 0) == 0 && ::lseek(memory_, 0, SEEK_SET) == 0);
  return text;
}

}  // namespace dwell::sim
