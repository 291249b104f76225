// How both programs end: exit codes by what went wrong.
#pragma once

#include "schemas/base/result.h"

namespace dwell::config {

/// After sysexits(3), and LSB for the meaning to a service manager: 64 usage, 65 bad data, 69
/// unavailable, 73 cannot create, 74 input/output, 78 configuration.
int ExitCode(ErrorKind kind);

/// The drain's time was over; what was unfinished is safe on disk (EX_TEMPFAIL).
inline constexpr int kDrainCutShort = 75;

}  // namespace dwell::config
