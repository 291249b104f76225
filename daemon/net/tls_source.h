// A TLS end whose files may be replaced while we run: looked at before each connection, read again
// when one changed.
#pragma once

#include <sys/stat.h>

#include <array>

#include "daemon/net/tls.h"

namespace dwell::net {

/// Used on one thread.
class TlsSource {
 public:
  enum class End : std::uint8_t { kServer, kClient };

  /// Errors as those of TlsContext.
  static Result<TlsSource> Open(End end, TlsFiles files);

  /// For the next connection; those that are open keep what they began with. Files that cannot be
  /// used (a key that does not yet fit its certificate, half a file) change nothing but a line in
  /// the log: what was read before serves on, and they are tried again when they change again. The
  /// system's own authorities are read only once.
  const TlsContext& Current();

 private:
  /// What tells one state of a file from another.
  struct Mark {
    ino_t file = 0;
    off_t bytes = 0;
    timespec changed{};
    bool operator==(const Mark& other) const;
  };
  using Marks = std::array<Mark, 3>;

  TlsSource(End end, TlsFiles files, TlsContext context, Marks marks)
      : end_(end), files_(std::move(files)), context_(std::move(context)), marks_(marks) {}
  static Marks Look(const TlsFiles& files);

  End end_;
  TlsFiles files_;
  TlsContext context_;
  Marks marks_;
};

}  // namespace dwell::net
