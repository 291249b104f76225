#include "daemon/config/keys.h"

namespace dwell::config {
namespace {

using Path = Key::Path;
using When = Key::When;

const Key kKeys[] = {
    {"site", "namespace", [](Config& c) -> Field { return &c.site.site_namespace; }},
    {"site", "zone", [](Config& c) -> Field { return &c.site.zone; }, Path::kNo, When::kReload},
    {"site", "test_data", [](Config& c) -> Field { return &c.site.test_data; }, Path::kNo,
     When::kReload},
    {"store", "path", [](Config& c) -> Field { return &c.store.path; }, Path::kYes},
    {"store", "keep_delivered_days",
     [](Config& c) -> Field { return &c.store.keep_delivered_days; }},
    {"store", "keep_closed_lines_days",
     [](Config& c) -> Field { return &c.store.keep_closed_lines_days; }},
    {"intake", "address", [](Config& c) -> Field { return &c.intake.address; }},
    {"intake", "port", [](Config& c) -> Field { return &c.intake.port; }},
    {"intake", "certificate", [](Config& c) -> Field { return &c.intake.certificate; }, Path::kYes},
    {"intake", "private_key", [](Config& c) -> Field { return &c.intake.private_key; }, Path::kYes},
    {"admin", "socket", [](Config& c) -> Field { return &c.admin.socket; }, Path::kYes},
    {"operate", "listen", [](Config& c) -> Field { return &c.operate.listen; }},
    {"operate", "silent_after_min", [](Config& c) -> Field { return &c.operate.silent_after_min; }},
    {"search", "listen", [](Config& c) -> Field { return &c.search.listen; }},
    {"endpoint", "url", [](Config& c) -> Field { return &c.endpoint.url; }},
    {"endpoint", "fhir_version", [](Config& c) -> Field { return &c.endpoint.fhir_version; }},
    {"endpoint", "ca_file", [](Config& c) -> Field { return &c.endpoint.ca_file; }, Path::kYes},
    {"endpoint", "bearer_file", [](Config& c) -> Field { return &c.endpoint.bearer_file; },
     Path::kYes},
    {"endpoint", "certificate", [](Config& c) -> Field { return &c.endpoint.certificate; },
     Path::kYes},
    {"endpoint", "private_key", [](Config& c) -> Field { return &c.endpoint.private_key; },
     Path::kYes},
    {"endpoint", "token_url", [](Config& c) -> Field { return &c.endpoint.token_url; }},
    {"endpoint", "client_id", [](Config& c) -> Field { return &c.endpoint.client_id; }},
    {"endpoint", "key_file", [](Config& c) -> Field { return &c.endpoint.key_file; }, Path::kYes},
    {"endpoint", "key_id", [](Config& c) -> Field { return &c.endpoint.key_id; }},
    {"endpoint", "scope", [](Config& c) -> Field { return &c.endpoint.scope; }},
    {"endpoint", "in_flight_max", [](Config& c) -> Field { return &c.endpoint.in_flight_max; }},
    {"endpoint", "attempt_time_max_s",
     [](Config& c) -> Field { return &c.endpoint.attempt_time_max_s; }},
    {"endpoint", "writes", [](Config& c) -> Field { return &c.endpoint.writes; }},
    {"endpoint", "identity", [](Config& c) -> Field { return &c.endpoint.identity; }},
    {"endpoint", "share_max", [](Config& c) -> Field { return &c.endpoint.share_max; }},
    {"endpoint", "types", [](Config& c) -> Field { return &c.endpoint.types; }},
    {"policy", "file", [](Config& c) -> Field { return &c.policy.file; }, Path::kYes,
     When::kReload},
    {"codes", "edition", [](Config& c) -> Field { return &c.codes.edition; }, Path::kNo,
     When::kReload},
    {"codes", "map", [](Config& c) -> Field { return &c.codes.map; }, Path::kYes, When::kReload},
    {"references", "patient", [](Config& c) -> Field { return &c.references.patient; }},
    {"references", "encounter", [](Config& c) -> Field { return &c.references.encounter; }},
    {"references", "cached_for_h", [](Config& c) -> Field { return &c.references.cached_for_h; }},
    {"reconcile", "every_h", [](Config& c) -> Field { return &c.reconcile.every_h; }},
    {"reconcile", "look_back_days", [](Config& c) -> Field { return &c.reconcile.look_back_days; }},
    {"reconcile", "send", [](Config& c) -> Field { return &c.reconcile.send; }},
    {"resources", "additions", [](Config& c) -> Field { return &c.resources.additions; },
     Path::kYes, When::kReload},
    {"resources", "profiles", [](Config& c) -> Field { return &c.resources.profiles; }, Path::kNo,
     When::kReload},
    {"resources", "security", [](Config& c) -> Field { return &c.resources.security; }, Path::kNo,
     When::kReload},
};

}  // namespace

std::span<const Key> AllKeys() { return kKeys; }

}  // namespace dwell::config
