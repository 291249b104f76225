#include "daemon/config/exit_code.h"

namespace dwell::config {

int ExitCode(ErrorKind kind) {
  switch (kind) {
    case ErrorKind::kUsage:
      return 64;
    case ErrorKind::kData:
    case ErrorKind::kForeign:
    case ErrorKind::kCorrupt:
      return 65;
    case ErrorKind::kNetwork:
      return 69;
    case ErrorKind::kBusy:
      return 73;
    case ErrorKind::kFull:
    case ErrorKind::kIo:
      return 74;
    case ErrorKind::kConfig:
    case ErrorKind::kTls:
      return 78;
  }
  return 70;
}

}  // namespace dwell::config
