// CHECK(condition): an invariant of ours. When it does not hold we have a bug; the process says
// where and aborts, in release builds too. The store makes that safe, the service manager restarts.
#pragma once

namespace dwell {

/// Writes "file:line: check failed: text" to standard error and aborts.
[[noreturn]] void CheckFailed(const char* file, int line, const char* text);

}  // namespace dwell

#define CHECK(condition) \
  ((condition) ? static_cast<void>(0) : ::dwell::CheckFailed(__FILE__, __LINE__, #condition))
