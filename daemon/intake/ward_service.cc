#include "daemon/intake/ward_service.h"

#include <utility>

#include "daemon/intake/routes.h"

namespace dwell::intake {

Plan WardService::Judge(const GateHead& head) {
  Plan plan;
  Route route = FindRoute(head);
  Pipeline* const pipeline = &pipeline_;
  if (route.refusal) {
    plan.refusal = std::move(route.refusal);
    return plan;
  }
  switch (route.action) {
    case Action::kSubmitOne:
      plan.answer = [pipeline](std::string body, const Replies& done) {
        pipeline->SubmitOne(std::move(body), done);
      };
      break;
    case Action::kSubmitBatch:
      plan.answer = [pipeline](std::string body, const Replies& done) {
        pipeline->SubmitBatch(std::move(body), done);
      };
      break;
    case Action::kShow:
      plan.answer = [pipeline, source = std::move(route.source), id = std::move(route.id)](
                        const std::string& /*body*/, const Replies& done) {
        pipeline->Show(source, id, Audience::kWard, done);
      };
      break;
    case Action::kLive:
      plan.answer = [pipeline](const std::string& /*body*/, const Replies& done) {
        done(pipeline->alive() ? PlainText(200, "alive\n") : PlainText(503, "not alive\n"));
      };
      break;
    case Action::kReady:
      plan.answer = [pipeline](const std::string& /*body*/, const Replies& done) {
        const bool is_ready = pipeline->ready() && pipeline->well();
        done(is_ready ? PlainText(200, "ready\n") : PlainText(503, "not ready\n"));
      };
      break;
  }
  return plan;
}

}  // namespace dwell::intake
