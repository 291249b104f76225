#include "daemon/intake/http_head.h"

#include <cstdio>

#include "daemon/base/limits.h"

namespace dwell::intake {

std::string HttpDate(Instant instant) {
  constexpr const char* kDays[] = {"Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"};
  constexpr const char* kMonths[] = {"Jan", "Feb", "Mar", "Apr", "May", "Jun",
                                     "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"};
  const auto day = std::chrono::floor<std::chrono::days>(instant);
  const std::chrono::year_month_day date(day);
  const std::chrono::hh_mm_ss time(std::chrono::floor<std::chrono::seconds>(instant - day));
  char text[48];
  const int size = std::snprintf(
      text, sizeof text, "%s, %02u %s %04d %02d:%02d:%02d GMT",
      kDays[std::chrono::weekday(day).c_encoding()], static_cast<unsigned>(date.day()),
      kMonths[static_cast<unsigned>(date.month()) - 1], static_cast<int>(date.year()),
      static_cast<int>(time.hours().count()), static_cast<int>(time.minutes().count()),
      static_cast<int>(time.seconds().count()));
  return {text, static_cast<std::size_t>(size)};
}

std::string_view DateText::At(Instant now) {
  const auto second = std::chrono::floor<std::chrono::seconds>(now);
  if (second != second_) {
    second_ = second;
    text_ = HttpDate(now);
  }
  return text_;
}

std::string ResponseHead(const Reply& reply, std::string_view date, bool close) {
  std::string head;
  head.reserve(320);
  head.append("HTTP/1.1 ").append(std::to_string(reply.status)).append(" ");
  head.append(ReasonPhrase(reply.status)).append("\r\nDate: ").append(date);
  head.append("\r\nContent-Type: ").append(reply.content_type);
  head.append("\r\nContent-Length: ").append(std::to_string(reply.body.size())).append("\r\n");
  if (!reply.location.empty()) head.append("Location: ").append(reply.location).append("\r\n");
  if (!reply.allow.empty()) head.append("Allow: ").append(reply.allow).append("\r\n");
  if (reply.retry_after) {
    head.append("Retry-After: ").append(std::to_string(limits::kRetryAfter.count())).append("\r\n");
  }
  if (close) head.append("Connection: close\r\n");
  head.append("\r\n");
  return head;
}

}  // namespace dwell::intake
