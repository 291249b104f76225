// A JSON schema compiled for speed: (text, schema) -> the list of violations, each with its place.
// Covers exactly the subset of draft 04 that our schemas use and refuses to load anything else,
// so that no rule can be dropped silently.
#pragma once

#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "schemas/base/result.h"
#include "schemas/json/document.h"

namespace dwell::schemas {

struct CompiledSchema;

/// One broken rule. Never carries the offending value: it may be personal.
struct Violation {
  std::string pointer;   ///< JSON Pointer (RFC 6901) of the value; "" is the whole document
  std::string rule;      ///< the keyword or format that failed, e.g. "required", "enum", "moment"
  std::string expected;  ///< what would have been right, in words
};

/// The text of another schema file by the name that a $ref gives it, e.g. "common.schema.json";
/// empty when there is none. The text must live until Load() has returned.
using FileResolver = std::function<std::optional<std::string_view>(std::string_view file)>;

/// Immutable after Load(); safe to share between threads.
///
/// Draft 04 as in json-schema.org/draft-04, of it: type, enum, properties, required,
/// additionalProperties, min/maxProperties, dependencies, items (one schema), min/maxItems,
/// uniqueItems, min/maxLength, minimum, maximum (both with exclusive...), pattern and format (those
/// of schemas/formats.cc), allOf, anyOf, oneOf, not, $ref (into this or another file), definitions.
/// Numbers are compared by their text, exactly; an integer has neither fraction nor exponent.
/// Three keywords of our own:
///   "dwell:choices": [{"of": ["valueQuantity", "valueString"], "min": 0}]
///       at most one of these members, at least `min`; a member x is there when x or _x is
///   "dwell:requiredPrimitives": ["status"]       each there as x or _x
///   "dwell:references": ["Patient", "Group"]     the value is a FHIR Reference of legal form, to
///   one
///       of these types as far as it tells; "Resource" stands for any
class Schema {
 public:
  /// Compiles a schema text. Fails (ErrorKind::kData) on any keyword, reference or pattern that is
  /// not fully implemented, saying where.
  static Result<Schema> Load(std::string_view schema_text, const FileResolver& files = {});

  /// All violations (at most `violations_max`), in the order in which they are met; empty means
  /// acceptable. Under anyOf and oneOf those of the alternative that comes nearest. Does not
  /// allocate while the value is acceptable.
  std::vector<Violation> Check(Value value, std::size_t violations_max = 100) const;

  Schema(Schema&&) noexcept;
  Schema& operator=(Schema&&) noexcept;
  ~Schema();

 private:
  explicit Schema(std::unique_ptr<const CompiledSchema> compiled);
  std::unique_ptr<const CompiledSchema> compiled_;
};

}  // namespace dwell::schemas
