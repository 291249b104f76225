// A JSON schema compiled for speed: (text, schema) -> the list of violations, each with its place.
// Covers exactly the subset of draft 04 that our schemas use and refuses to load anything else,
// so that no rule can be dropped silently.
#pragma once

#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "schemas/base/result.h"
#include "schemas/json/document.h"

namespace dwell::schemas {

/// One broken rule. Never carries the offending value: it may be personal.
struct Violation {
  std::string pointer;   ///< JSON Pointer (RFC 6901) of the value; "" is the whole document
  std::string rule;      ///< the keyword or check that failed, e.g. "required", "enum", "date-time"
  std::string expected;  ///< what would have been right, in words
};

/// Immutable after Load(); safe to share between threads.
class Schema {
 public:
  /// Compiles a schema text. Fails (ErrorKind::kData) on any keyword, reference or pattern that is
  /// not fully implemented, saying where.
  static Result<Schema> Load(std::string_view schema_text);

  /// All violations (at most `violations_max`), in document order; empty means acceptable.
  std::vector<Violation> Check(Value value, std::size_t violations_max = 100) const;

  Schema(Schema&&) noexcept;
  Schema& operator=(Schema&&) noexcept;
  ~Schema();

 private:
  struct Compiled;
  explicit Schema(std::unique_ptr<const Compiled> compiled);
  std::unique_ptr<const Compiled> compiled_;
};

}  // namespace dwell::schemas
