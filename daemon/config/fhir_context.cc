#include "daemon/config/fhir_context.h"

namespace dwell::config {
namespace {

/// What delivery resolves ("resolved") is frozen as the search.
fhir::ReferenceForm FormOf(std::string_view key) {
  return key == "identifier" ? fhir::ReferenceForm::kIdentifier : fhir::ReferenceForm::kConditional;
}

}  // namespace

fhir::Context ContextOf(const Config& config) {
  fhir::Context context;
  context.site_namespace = config.site.site_namespace;
  context.test_data = config.site.test_data;
  context.release = *FhirReleaseOf(config.endpoint.fhir_version);  // the schema knows no other
  context.patients = FormOf(config.references.patient);
  context.encounters = FormOf(config.references.encounter);
  context.profiles = config.resources.profiles;
  for (const std::string& text : config.resources.security) {
    context.security.push_back(*fhir::ReadSecurityLabel(text));  // the configuration was checked
  }
  return context;
}

}  // namespace dwell::config
