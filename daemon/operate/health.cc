#include "daemon/operate/health.h"

#include <vector>

#include "daemon/base/limits.h"

namespace dwell::operate {
namespace {

struct Check {
  std::string name;
  bool holds = false;
  std::string detail;
};

std::vector<Check> LiveChecks(const Facts& facts) {
  std::vector<Check> checks;
  for (const WorkerFacts& worker : facts.workers) {
    std::string name = "thread " + std::string(WorkerName(worker.worker));
    if (!worker.endpoint.empty()) name += " " + worker.endpoint;
    checks.push_back({std::move(name), !worker.is_stuck, worker.is_stuck ? "stuck" : "moves"});
  }
  return checks;
}

std::vector<Check> ReadyChecks(const Facts& facts) {
  std::vector<Check> checks = LiveChecks(facts);
  checks.push_back({"taking events", !facts.draining, facts.draining ? "draining" : "yes"});
  checks.push_back({"store", !facts.store_stopped, facts.store_stopped ? "stopped" : "works"});
  const bool has_room = facts.free_bytes && *facts.free_bytes >= limits::kStoreFreeBytesMin;
  const std::string free = facts.free_bytes ? std::to_string(*facts.free_bytes) : "not known";
  checks.push_back(
      {"room", has_room,
       free + " bytes free, " + std::to_string(limits::kStoreFreeBytesMin) + " must stay free"});
  return checks;
}

}  // namespace

Health Answer(Question question, const Facts& facts, bool verbose) {
  const bool is_live = question == Question::kLive;
  Health health;
  health.is_well = true;
  for (const Check& check : is_live ? LiveChecks(facts) : ReadyChecks(facts)) {
    health.is_well = health.is_well && check.holds;
    if (!verbose) continue;
    health.text.append(check.holds ? "ok   " : "FAIL ").append(check.name).append(": ");
    health.text.append(check.detail).append("\n");
  }
  if (!health.is_well) health.text += "not ";
  health.text += is_live ? "alive\n" : "ready\n";
  return health;
}

}  // namespace dwell::operate
