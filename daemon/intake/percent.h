// Percent-encoding of path segments and query values (RFC 3986 section 2.1). Pure.
#pragma once

#include <optional>
#include <string>
#include <string_view>

namespace dwell::intake {

/// Everything but unreserved characters (RFC 3986 section 2.3) encoded.
std::string PercentEncode(std::string_view text);

/// Empty when a percent sign is not followed by two hexadecimal digits.
std::optional<std::string> PercentDecode(std::string_view text);

/// The decoded value of `name` in a query ("a=1&b=2"); empty when it is not there, there twice, or
/// wrongly encoded.
std::optional<std::string> QueryValue(std::string_view query, std::string_view name);

}  // namespace dwell::intake
