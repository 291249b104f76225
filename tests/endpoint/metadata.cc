#include "tests/endpoint/metadata.h"

#include "schemas/json/writer.h"

namespace practice {
namespace {

using dwell::schemas::JsonWriter;

/// rest.interaction: what is taken at the base URL.
const char* Interactions(const Manners& manners) {
  if (manners.taking == Taking::kSingles) return R"([{"code":"search-system"}])";
  const bool is_batch =
      manners.taking == Taking::kBatches || manners.telling == Telling::kNoTransaction;
  return is_batch ? R"([{"code":"batch"}])" : R"([{"code":"transaction"},{"code":"batch"}])";
}

/// FHIR R4 capabilitystatement.html.
std::string Capabilities(const Manners& manners) {
  const Telling telling = manners.telling;
  const bool has_no_task = telling == Telling::kOwnIds;
  const bool own_ids = manners.own_ids || has_no_task;
  JsonWriter writer;
  writer.BeginObject();
  writer.Member("resourceType", "CapabilityStatement");
  writer.Member("status", "active");
  writer.Member("date", "2026-01-01");
  writer.Member("kind", "instance");
  writer.MemberRaw("implementation",
                   R"({"description":"practice endpoint, holds test data only"})");
  writer.Member("fhirVersion", std::string_view(telling == Telling::kR5 ? "5.0.0" : "4.0.1"));
  writer.MemberRaw("format", R"(["application/fhir+json"])");
  writer.Name("rest");
  writer.BeginArray();
  writer.BeginObject();
  writer.Member("mode", "server");
  writer.Name("resource");
  writer.BeginArray();
  for (const char* const type :
       {"Bundle", "Device", "DeviceUseStatement", "Encounter", "Location", "Observation", "Patient",
        "Practitioner", "Procedure", "Provenance", "Task"}) {
    if (has_no_task && std::string_view(type) == "Task") continue;
    writer.BeginObject();
    writer.Member("type", type);
    writer.MemberRaw("interaction",
                     R"([{"code":"read"},{"code":"vread"},{"code":"create"},{"code":"update"},)"
                     R"({"code":"delete"},{"code":"search-type"}])");
    writer.Member("versioning", "versioned");
    writer.MemberBool("updateCreate", !own_ids);
    writer.MemberBool("conditionalCreate", true);
    writer.MemberBool("conditionalUpdate", true);
    writer.MemberRaw("searchParam", R"([{"name":"identifier","type":"token"}])");
    writer.EndObject();
  }
  writer.EndArray();
  writer.MemberRaw("interaction", Interactions(manners));
  writer.EndObject();
  writer.EndArray();
  writer.EndObject();
  return writer.Take();
}

}  // namespace

HttpResponse Metadata(const Manners& manners) {
  const Telling telling = manners.telling;
  HttpResponse response;
  response.body = Capabilities(manners);
  if (telling == Telling::kGarbage) response.body.resize(response.body.size() / 2);
  if (telling == Telling::kWebPage) {
    response.content_type = "text/html";
    response.body = "<!DOCTYPE html><title>Sign in</title>";
  }
  return response;
}

}  // namespace practice
