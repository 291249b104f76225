#include "daemon/app/knowledge.h"

#include "daemon/config/additions_file.h"
#include "daemon/config/code_maps.h"
#include "daemon/config/fhir_context.h"
#include "daemon/config/policy_file.h"
#include "daemon/config/tz_data.h"

namespace dwell::app {

std::string AllFindings(const std::vector<config::Finding>& findings) {
  std::string text;
  for (const auto& finding : findings) {
    if (!text.empty()) text += "\n";
    text += config::FormatFinding(finding);
  }
  return text;
}

Result<std::shared_ptr<const Knowledge>> LoadKnowledge(const config::Config& config,
                                                       const schemas::Bundled& schemas) {
  auto policy = config::LoadPolicy(config.policy.file);
  if (!policy) return Error(ErrorKind::kConfig, AllFindings(policy.error()));
  auto zone = config::LoadZone(config.site.zone);
  if (!zone) return zone.error();
  auto codes = config::LoadCodeMaps(config);
  if (!codes) return codes.error();
  std::optional<fhir::Additions> additions;
  if (!config.resources.additions.empty()) {
    const FhirRelease release = *FhirReleaseOf(config.endpoint.fhir_version);
    auto loaded = config::LoadAdditions(config.resources.additions, schemas, release);
    if (!loaded) return Error(ErrorKind::kConfig, AllFindings(loaded.error()));
    additions = std::move(*loaded);
  }
  return std::make_shared<const Knowledge>(Knowledge{std::move(*policy), std::move(*zone),
                                                     config::TzDataVersion(), std::move(*codes),
                                                     std::move(additions)});
}

ledger::Rules RulesOf(const std::shared_ptr<const Knowledge>& knowledge,
                      const schemas::Bundled& schemas, const config::Config& config,
                      std::vector<ledger::Destination> destinations) {
  ledger::Rules rules;
  rules.schemas = &schemas;
  rules.policy = &knowledge->policy;
  rules.zone = &knowledge->zone;
  rules.fhir = config::ContextOf(config);
  rules.fhir.codes = &knowledge->codes;
  rules.fhir.zone = &knowledge->zone;
  if (knowledge->additions) rules.fhir.additions = &*knowledge->additions;
  rules.destinations = std::move(destinations);
  rules.owner = knowledge;
  return rules;
}

}  // namespace dwell::app
