#include "daemon/app/notify.h"

#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#include <cstddef>
#include <cstdlib>
#include <cstring>

namespace dwell::app {

void Notify(std::string_view state) {
  const char* const name = std::getenv("NOTIFY_SOCKET");
  if (name == nullptr) return;
  const std::string_view path(name);
  sockaddr_un address{};
  if (path.empty() || path.size() >= sizeof(address.sun_path)) return;
  address.sun_family = AF_UNIX;
  std::memcpy(address.sun_path, path.data(), path.size());
  if (path.front() == '@') address.sun_path[0] = '\0';
  const int socket = ::socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC, 0);
  if (socket < 0) return;
  const auto size = static_cast<socklen_t>(offsetof(sockaddr_un, sun_path) + path.size());
  // Nothing to be done when it fails: the manager will find out by itself.
  ::sendto(socket, state.data(), state.size(), MSG_NOSIGNAL,
           reinterpret_cast<const sockaddr*>(&address), size);
  ::close(socket);
}

}  // namespace dwell::app
