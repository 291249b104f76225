#include "daemon/app/knowledge.h"

#include <utility>

#include "daemon/config/additions_file.h"
#include "daemon/config/code_maps.h"
#include "daemon/config/policy_file.h"
#include "schemas/json/writer.h"

namespace dwell::app {
namespace {

std::string AllFindings(const std::vector<config::Finding>& findings) {
  std::string text;
  for (const auto& finding : findings) {
    if (!text.empty()) text += "\n";
    text += config::FormatFinding(finding);
  }
  return text;
}

}  // namespace

Result<KnowledgePtr> LoadKnowledge(const config::Config& config, const schemas::Bundled& schemas) {
  auto policy = config::LoadPolicy(config.policy.file);
  if (!policy) return Error(ErrorKind::kConfig, AllFindings(policy.error()));
  auto zone = due::Zone::Load(config.site.zone);
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
  return std::make_shared<const Knowledge>(
      Knowledge{std::move(*policy), std::move(*zone), std::move(*codes), std::move(additions)});
}

std::string InUse(const Knowledge& knowledge) {
  schemas::JsonWriter row;
  row.BeginObject();
  row.Member("policy", knowledge.policy.name);
  row.Member("version", knowledge.policy.version);
  row.EndObject();
  return row.Take();
}

}  // namespace dwell::app
