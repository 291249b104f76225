// Names a thread, so that `top -H`, a core file and the bench can tell the daemon's threads apart.
#pragma once

namespace dwell::base {

/// Names the calling thread; at most 15 characters, the system cuts the rest.
void NameThread(const char* name);

}  // namespace dwell::base
