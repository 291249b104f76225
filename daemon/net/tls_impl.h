// Inside of TlsContext, for the files of this room only: keeps OpenSSL out of other rooms.
#pragma once

#include <boost/asio/ssl/context.hpp>

#include "daemon/net/tls.h"

namespace dwell::net {

struct TlsContext::Impl {
  explicit Impl(boost::asio::ssl::context::method method) : context(method) {}
  boost::asio::ssl::context context;
};

}  // namespace dwell::net
