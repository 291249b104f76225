#include "daemon/intake/examine.h"

#include "daemon/base/limits.h"

namespace dwell::intake {
namespace {

constexpr schemas::ParseLimits kEventLimits{.bytes_max = limits::kEventBytesMax,
                                            .depth_max = limits::kEventDepthMax,
                                            .values_max = limits::kEventValuesMax};

}  // namespace

std::variant<std::shared_ptr<const event::Event>, Refusal> Examine(
    std::string_view text, const schemas::Bundled& schemas) {
  if (text.size() > limits::kEventBytesMax) {
    return Refusal{413,
                   {{"event-too-large", "",
                     "an event of at most " + std::to_string(limits::kEventBytesMax) + " bytes"}}};
  }
  const auto document = schemas::Document::Parse(text, kEventLimits);
  if (!document) return Refusal{400, {IssueOf(document.error())}};
  const auto violations = schemas.CheckEvent(document->root());
  if (!violations.empty()) return Refusal{422, IssuesOf(violations)};
  auto event = event::ReadEvent(document->root());
  if (!event) return Refusal{422, IssuesOf(event.error())};
  return std::make_shared<const event::Event>(std::move(*event));
}

}  // namespace dwell::intake
