// The head of a response, written by hand. Pure.
#pragma once

#include <string>
#include <string_view>

#include "daemon/intake/reply.h"
#include "mapping/event/moment.h"

namespace dwell::intake {

/// "Tue, 24 Nov 2026 09:00:00 GMT" (RFC 9110 section 5.6.7).
std::string HttpDate(Instant instant);

/// HttpDate() of the same second is computed once.
class DateText {
 public:
  std::string_view At(Instant now);

 private:
  std::chrono::sys_seconds second_{std::chrono::seconds(-1)};
  std::string text_;
};

/// Status line and fields up to the blank line; the body follows with the length stated here.
std::string ResponseHead(const Reply& reply, std::string_view date, bool close);

/// The interim response that asks for the body (RFC 9110 section 15.2.1).
inline constexpr std::string_view kContinue = "HTTP/1.1 100 Continue\r\n\r\n";

}  // namespace dwell::intake
