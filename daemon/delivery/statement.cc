#include "daemon/delivery/statement.h"

#include "daemon/delivery/verdict.h"

namespace dwell::delivery {

Statement ReadStatement(const net::Exchange& exchange) {
  Statement statement;
  if (exchange.failure != net::Failure::kNone) return statement;
  // RFC 9110 section 15.5: who says so knows the path and has nothing there.
  statement.is_told = exchange.status == 404 || exchange.status == 405 || exchange.status == 410;
  if (exchange.status != 200 || !IsJson(exchange.content_type)) return statement;
  auto capability = ReadCapability(exchange.body);
  if (!capability) return statement;
  statement.is_told = true;
  statement.capability = std::move(*capability);
  return statement;
}

}  // namespace dwell::delivery
