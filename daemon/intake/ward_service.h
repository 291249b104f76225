// What the intake's listener serves: ward events, what became of them, and whether all is well.
#pragma once

#include "daemon/intake/pipeline.h"
#include "daemon/intake/service.h"

namespace dwell::intake {

class WardService final : public Service {
 public:
  /// `pipeline` outlives the service.
  explicit WardService(Pipeline& pipeline) : pipeline_(pipeline) {}
  Plan Judge(const GateHead& head) override;

 private:
  Pipeline& pipeline_;
};

}  // namespace dwell::intake
