#include "daemon/intake/examine.h"

#include "daemon/base/limits.h"

namespace dwell::intake {
namespace {

constexpr schemas::ParseLimits kEventLimits{.bytes_max = limits::kEventBytesMax,
                                            .depth_max = limits::kEventDepthMax,
                                            .values_max = limits::kEventValuesMax};

void CheckNotInFuture(const Moment& moment, std::string_view pointer, Instant now,
                      std::vector<Issue>& issues) {
  if (moment.instant <= now + limits::kFutureMax) return;
  issues.push_back({"future", std::string(pointer),
                    "a time not more than " + std::to_string(limits::kFutureMax.count()) +
                        " minutes ahead of this machine's clock"});
}

std::vector<Issue> CheckTimes(const event::Event& event, Instant now) {
  std::vector<Issue> issues;
  const bool from = event.happened_until.has_value();
  CheckNotInFuture(event.happened, from ? "/happened_from" : "/happened_at", now, issues);
  if (from) CheckNotInFuture(*event.happened_until, "/happened_until", now, issues);
  CheckNotInFuture(event.recorded_at, "/recorded_at", now, issues);
  return issues;
}

}  // namespace

std::variant<std::shared_ptr<const event::Event>, Refusal> Examine(std::string_view text,
                                                                   const schemas::Bundled& schemas,
                                                                   Instant now) {
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
  auto issues = CheckTimes(*event, now);
  if (!issues.empty()) return Refusal{422, std::move(issues)};
  return std::make_shared<const event::Event>(std::move(*event));
}

}  // namespace dwell::intake
