// What the intake says to a sender, before it is put into HTTP or onto the admin socket. Plain
// data.
#pragma once

#include <functional>
#include <string>
#include <string_view>

namespace dwell::intake {

inline constexpr std::string_view kJson = "application/json";
inline constexpr std::string_view kNdjson = "application/x-ndjson";
inline constexpr std::string_view kFhirJson = "application/fhir+json";
inline constexpr std::string_view kPlainText = "text/plain; charset=utf-8";

struct Reply {
  int status = 200;
  std::string_view content_type = kJson;
  std::string body;
  std::string location;         ///< of the event; empty: none
  bool retry_after = false;     ///< say when to try again (limits::kRetryAfter)
  std::string_view allow = {};  ///< methods, for 405
};

/// Called once, on any thread.
using Replies = std::function<void(Reply)>;

/// A sentence for a person.
Reply PlainText(int status, std::string_view text);

/// A refusal with one issue and an OperationOutcome as its body.
Reply Refuse(int status, std::string_view rule, std::string_view expected,
             std::string_view pointer = {});

/// The standard reason phrase of a status we use (RFC 9110 section 15).
std::string_view ReasonPhrase(int status);

}  // namespace dwell::intake
