#include "daemon/base/thread_name.h"

#include <pthread.h>

namespace dwell::base {

void NameThread(const char* name) {
  // Fails only for a name that is too long; a thread without a name works as well.
  static_cast<void>(pthread_setname_np(pthread_self(), name));
}

}  // namespace dwell::base
