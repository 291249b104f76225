#include "daemon/config/policy_file.h"

#include "schemas/bundled.h"

namespace dwell::config {

Result<due::Policy, std::vector<Finding>> LoadPolicy(const std::string& file) {
  const auto failed = [&file](const std::string& what) {
    return std::vector<Finding>{{file, 0, "", what}};
  };
  const auto text = ReadTextFile(file);
  if (!text) return failed(text.error().message());
  const auto toml = ReadToml(file, *text);
  if (!toml) return std::vector<Finding>{toml.error()};
  const auto schema_text = schemas::BundledText("policy.schema.json");
  if (!schema_text) return failed("policy.schema.json is missing in this build");
  const auto schema = schemas::Schema::Load(*schema_text);
  if (!schema) return failed("policy.schema.json: " + schema.error().message());
  std::vector<Finding> findings;
  for (const auto& violation : schema->Check(toml->document.root())) {
    findings.push_back(
        {file, toml->LineOf(violation.pointer), violation.pointer, violation.expected});
  }
  if (!findings.empty()) return findings;
  auto policy = due::ReadPolicy(toml->document.root());
  if (!policy) return failed(policy.error().message());
  return std::move(*policy);
}

}  // namespace dwell::config
