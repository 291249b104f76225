// The endpoint's base URL, read strictly: (text) -> its parts, or what is wrong with it.
#pragma once

#include <string>
#include <string_view>

#include "schemas/base/result.h"

namespace dwell::delivery {

/// An absolute http or https URL without user, query and fragment (RFC 3986, RFC 9110 section 4.2).
struct Url {
  bool tls = false;
  std::string host;  ///< lower case; an IPv6 address without its brackets
  std::string port;  ///< always filled, "1" to "65535"
  std::string path;  ///< "" or "/..." without a slash at the end
};

/// Errors: kConfig, saying which part is wrong. A password in the URL is not repeated in the
/// message.
Result<Url> ReadUrl(std::string_view text);

}  // namespace dwell::delivery
