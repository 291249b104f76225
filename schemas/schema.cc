#include "schemas/schema.h"

#include "schemas/check.h"
#include "schemas/compile.h"

namespace dwell::schemas {

Schema::Schema(std::unique_ptr<const CompiledSchema> compiled) : compiled_(std::move(compiled)) {}
Schema::Schema(Schema&&) noexcept = default;
Schema& Schema::operator=(Schema&&) noexcept = default;
Schema::~Schema() = default;

Result<Schema> Schema::Load(std::string_view schema_text, const FileResolver& files) {
  auto compiled = Compiler(files).Compile(schema_text);
  if (compiled.has_error()) return compiled.error();
  return Schema(std::move(*compiled));
}

std::vector<Violation> Schema::Check(Value value, std::size_t violations_max) const {
  std::vector<Violation> violations;
  Checker(*compiled_, &violations, violations_max).Check(compiled_->root, value);
  return violations;
}

}  // namespace dwell::schemas
