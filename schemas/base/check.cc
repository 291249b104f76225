#include "schemas/base/check.h"

#include <cstdio>
#include <cstdlib>

#include "schemas/base/result.h"

namespace dwell {

void CheckFailed(const char* file, int line, const char* text) {
  std::fprintf(stderr, "%s:%d: check failed: %s\n", file, line, text);
  std::abort();
}

void throw_exception_from_error(const Error& error, const boost::source_location& at) {
  CheckFailed(at.file_name(), static_cast<int>(at.line()), error.message().c_str());
}

}  // namespace dwell
