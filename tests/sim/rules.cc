#include "tests/sim/rules.h"

#include "daemon/store/file_check.h"
#include "schemas/base/check.h"
#include "tests/sim/disk.h"
#include "tests/sim/records.h"

namespace dwell::sim {
namespace {

due::Policy MakePolicy() {
  due::LineRules cannula;
  cannula.dwell_max = std::chrono::hours(72);
  cannula.dwell_max_emergency = std::chrono::hours(24);
  cannula.check_rounds = {std::chrono::hours(6), std::chrono::hours(14), std::chrono::hours(22)};
  cannula.remove_at_phlebitis_grade = 2;
  due::Policy policy;
  policy.name = "simulated";
  policy.version = "1";
  policy.by_kind["peripheral-cannula"] = cannula;
  return policy;
}

struct Knowledge {
  schemas::Bundled schemas = std::move(schemas::Bundled::Load().value());
  codes::CodeMap codes =
      std::move(codes::CodeMap::LoadBundled(codes::CodeMap::Edition::kFree).value());
  due::Zone zone = std::move(due::Zone::Load("Europe/London").value());
  due::Policy policy = MakePolicy();
};

}  // namespace

ledger::Rules RulesOfTheHouse() {
  static const Knowledge knowledge;
  ledger::Rules rules;
  rules.schemas = &knowledge.schemas;
  rules.policy = &knowledge.policy;
  rules.zone = &knowledge.zone;
  rules.fhir.site_namespace = "https://fernhill.example/dwell";
  rules.fhir.test_data = true;
  rules.fhir.codes = &knowledge.codes;
  rules.fhir.zone = &knowledge.zone;
  rules.queue_bundles_max = kQueueMax;
  return rules;
}

const std::string& EmptyStore() {
  static const std::string bytes = [] {
    Disk disk(1);
    const Result<void> made = store::CreateFile(disk, "/store");
    CHECK(made.has_value());
    return disk.Find("/store")->now;
  }();
  return bytes;
}

}  // namespace dwell::sim
