// Tells the service manager how far we are: the notify protocol of sd_notify(3), without a library.
#pragma once

#include <string_view>

namespace dwell::app {

/// One datagram to the socket named by NOTIFY_SOCKET ("@…" is an abstract one); nothing when there
/// is none. `state`: assignments by line, e.g. "READY=1\nSTATUS=listening".
void Notify(std::string_view state);

}  // namespace dwell::app
