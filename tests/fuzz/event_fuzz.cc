// libFuzzer target: any bytes are read as a document and checked as an event and as a resource.
// What must hold: no crash; every pointer in a report finds its value, or its value's parent. Run:
// event_fuzz CORPUS tests/schemas/events tests/schemas/resources
#include <cstddef>
#include <cstdint>

#include "schemas/base/check.h"
#include "schemas/bundled.h"

namespace dwell::schemas {
namespace {

void Walk(Value value, std::size_t* count) {
  ++*count;
  if (!value.is_array() && !value.is_object()) return;
  std::size_t children = 0;
  for (Value child : value) {
    Walk(child, count);
    ++children;
  }
  CHECK(children == value.size());
}

void CheckPointers(const Document& document, const std::vector<Violation>& violations) {
  for (const Violation& violation : violations) {
    CHECK(!violation.rule.empty() && !violation.expected.empty());
    if (document.At(violation.pointer)) continue;
    const std::size_t slash = violation.pointer.rfind('/');
    CHECK(slash != std::string::npos && document.At(violation.pointer.substr(0, slash)));
  }
}

}  // namespace
}  // namespace dwell::schemas

// The name and the shape are libFuzzer's.
// NOLINTNEXTLINE(readability-identifier-naming)
extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace dwell::schemas;
  static const Bundled bundled = *Bundled::Load();
  const auto document = Document::Parse({reinterpret_cast<const char*>(data), size});
  if (document.has_error()) {
    CHECK(!document.error().rule.empty() && document.error().offset <= size);
    return 0;
  }
  std::size_t count = 0;
  Walk(document->root(), &count);
  CheckPointers(*document, bundled.CheckEvent(document->root()));
  CheckPointers(*document, bundled.CheckResource(document->root()));
  return 0;
}
