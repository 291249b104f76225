// One HTTP request and what came of it, as plain data for whoever has to judge it.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

namespace dwell::net {

/// How much of the request the system took from us: what the peer may have seen.
enum class Written : std::uint8_t { kNone, kSome, kAll };

/// Why there is no complete answer.
enum class Failure : std::uint8_t {
  kNone,      ///< there is one
  kConnect,   ///< no address, or no address took the connection
  kTls,       ///< the handshake failed or the certificate is not acceptable
  kTimeOut,   ///< the attempt's time was over
  kBroken,    ///< closed or reset before the answer was complete
  kGarbage,   ///< what came is not HTTP/1.1 as RFC 9112 has it, or was compressed unasked
  kTooLarge,  ///< head or body beyond our limit
};

struct Exchange {
  Written written = Written::kNone;
  Failure failure = Failure::kNone;
  int status = 0;  ///< 0 until a complete head was read
  std::string content_type, retry_after, location, etag,
      date;           ///< fields as received; empty: absent
  std::string body;   ///< as far as it was received
  std::string error;  ///< the failure in words
};

struct Request {
  std::string_view method;
  std::string_view target;  ///< path and query, as they go on the wire
  std::string_view fields;  ///< finished lines "Name: value\r\n"; never made from unchecked data
  std::string_view body;    ///< sent with its length; always stated for POST and PUT
};

}  // namespace dwell::net
