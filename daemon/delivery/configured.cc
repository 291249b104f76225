#include "daemon/delivery/configured.h"

namespace dwell::delivery {
namespace {

Naming NamingOf(std::string_view word) {
  if (word == "conditional") return Naming::kConditional;
  return word == "resolved" ? Naming::kResolved : Naming::kIdentifier;
}

}  // namespace

Endpoint EndpointOf(const config::Config& config) {
  const config::Config::Endpoint& from = config.endpoint;
  Endpoint endpoint;
  endpoint.url = from.url;
  endpoint.tls = {from.certificate, from.private_key, from.ca_file};
  endpoint.bearer_file = from.bearer_file;
  endpoint.tokens = {from.token_url, from.client_id, from.key_file, from.key_id, from.scope};
  endpoint.in_flight_max = static_cast<std::size_t>(from.in_flight_max);
  endpoint.attempt_time_max = std::chrono::seconds(from.attempt_time_max_s);
  endpoint.look_ups.patients = NamingOf(config.references.patient) == Naming::kResolved;
  endpoint.look_ups.encounters = NamingOf(config.references.encounter) == Naming::kResolved;
  endpoint.look_ups.cached_for = std::chrono::hours(config.references.cached_for_h);
  endpoint.pins = PinsOf(config);
  endpoint.release = *FhirReleaseOf(config.endpoint.fhir_version);
  return endpoint;
}

Wants WantsOf(const config::Config& config) {
  Wants wants;
  wants.release = *FhirReleaseOf(config.endpoint.fhir_version);
  wants.patients = NamingOf(config.references.patient);
  wants.encounters = NamingOf(config.references.encounter);
  if (!config.endpoint.bearer_file.empty()) wants.admission = Admission::kBearer;
  if (!config.endpoint.token_url.empty()) wants.admission = Admission::kTokens;
  wants.has_certificate = !config.endpoint.certificate.empty();
  wants.token_url = config.endpoint.token_url;
  wants.pins = PinsOf(config);
  wants.profiles = config.resources.profiles;
  return wants;
}

Pins PinsOf(const config::Config& config) {
  Pins pins;
  for (const auto interaction :
       {Interaction::kTransaction, Interaction::kBatch, Interaction::kSingle}) {
    if (config.endpoint.writes == InteractionName(interaction)) pins.interaction = interaction;
  }
  for (const auto identity : {Identity::kUpdateAsCreate, Identity::kConditionalUpdate}) {
    if (config.endpoint.identity == IdentityName(identity)) pins.identity = identity;
  }
  pins.share_max = static_cast<std::size_t>(config.endpoint.share_max);
  return pins;
}

}  // namespace dwell::delivery
