#include "daemon/config/additions_file.h"

namespace dwell::config {

Result<fhir::Additions, std::vector<Finding>> LoadAdditions(const std::string& file,
                                                            const schemas::Bundled& schemas,
                                                            FhirRelease release) {
  const auto text = ReadTextFile(file);
  if (!text) return std::vector<Finding>{{file, 0, "", text.error().message()}};
  auto additions = fhir::Additions::Read(*text, schemas, release);
  if (additions) return std::move(*additions);
  std::vector<Finding> findings;
  for (const auto& fault : additions.error()) {
    findings.push_back({file, 0, fault.pointer, fault.expected});
  }
  return findings;
}

}  // namespace dwell::config
