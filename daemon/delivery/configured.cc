#include "daemon/delivery/configured.h"

namespace dwell::delivery {
namespace {

Naming NamingOf(std::string_view word) {
  if (word == "conditional") return Naming::kConditional;
  return word == "resolved" ? Naming::kResolved : Naming::kIdentifier;
}

}  // namespace

Endpoint EndpointOf(const config::Config& config, const config::Config::Endpoint& from) {
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
  endpoint.pins = PinsOf(from);
  endpoint.release = *FhirReleaseOf(config.endpoint.fhir_version);
  return endpoint;
}

Wants WantsOf(const config::Config& config, const config::Config::Endpoint& from) {
  Wants wants;
  wants.release = *FhirReleaseOf(from.fhir_version);
  wants.patients = NamingOf(config.references.patient);
  wants.encounters = NamingOf(config.references.encounter);
  if (!from.bearer_file.empty()) wants.admission = Admission::kBearer;
  if (!from.token_url.empty()) wants.admission = Admission::kTokens;
  wants.has_certificate = !from.certificate.empty();
  wants.types = {from.types.begin(), from.types.end()};
  wants.token_url = from.token_url;
  wants.pins = PinsOf(from);
  wants.profiles = config.resources.profiles;
  return wants;
}

Pins PinsOf(const config::Config::Endpoint& from) {
  Pins pins;
  for (const auto interaction :
       {Interaction::kTransaction, Interaction::kBatch, Interaction::kSingle}) {
    if (from.writes == InteractionName(interaction)) pins.interaction = interaction;
  }
  pins.identity = IdentityOf(from.identity);
  pins.share_max = static_cast<std::size_t>(from.share_max);
  return pins;
}

}  // namespace dwell::delivery
