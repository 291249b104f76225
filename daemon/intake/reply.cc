#include "daemon/intake/reply.h"

#include "daemon/intake/outcome.h"

namespace dwell::intake {

Reply PlainText(int status, std::string_view text) {
  Reply reply;
  reply.status = status;
  reply.content_type = kPlainText;
  reply.body = text;
  return reply;
}

Reply Refuse(int status, std::string_view rule, std::string_view expected,
             std::string_view pointer) {
  Reply reply;
  reply.status = status;
  reply.content_type = kFhirJson;
  reply.body = OperationOutcome({{std::string(rule), std::string(pointer), std::string(expected)}});
  reply.retry_after = status == 503;
  return reply;
}

std::string_view ReasonPhrase(int status) {
  switch (status) {
    case 200:
      return "OK";
    case 201:
      return "Created";
    case 400:
      return "Bad Request";
    case 404:
      return "Not Found";
    case 405:
      return "Method Not Allowed";
    case 408:
      return "Request Timeout";
    case 409:
      return "Conflict";
    case 411:
      return "Length Required";
    case 413:
      return "Content Too Large";
    case 415:
      return "Unsupported Media Type";
    case 417:
      return "Expectation Failed";
    case 422:
      return "Unprocessable Content";
    case 431:
      return "Request Header Fields Too Large";
    case 503:
      return "Service Unavailable";
    case 505:
      return "HTTP Version Not Supported";
    default:
      return "Internal Server Error";
  }
}

}  // namespace dwell::intake
