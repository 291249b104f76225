#include "daemon/command/check.h"

#include <cstdio>

#include "daemon/command/check_endpoint.h"
#include "daemon/command/code_report.h"
#include "daemon/config/additions_file.h"
#include "daemon/config/code_maps.h"
#include "daemon/config/config.h"
#include "daemon/config/exit_code.h"
#include "daemon/config/policy_file.h"
#include "daemon/config/tz_data.h"
#include "daemon/net/signing_key.h"
#include "schemas/bundled.h"

namespace dwell::command {
namespace {

using Findings = std::vector<config::Finding>;

void Say(const std::string& text) { std::fprintf(stderr, "%s\n", text.c_str()); }

void CheckFile(const std::string& path, const std::string& pointer, const std::string& config_file,
               Findings& findings) {
  if (path.empty()) return;
  const auto text = config::ReadTextFile(path);
  if (!text) findings.push_back({config_file, 0, pointer, text.error().message()});
}

void CheckSigningKey(const std::string& path, const std::string& pointer,
                     const std::string& config_file, Findings& findings) {
  if (path.empty()) return;
  const auto key = net::SigningKey::Read(path);
  if (!key) findings.push_back({config_file, 0, pointer, key.error().message()});
}

void CheckAdditions(const config::Config& config, Findings& findings) {
  if (config.resources.additions.empty()) return;
  const FhirRelease release = *FhirReleaseOf(config.endpoint.fhir_version);
  const auto schemas = schemas::Bundled::Load(release);
  if (!schemas) return;  // Check() has said so
  const auto additions = config::LoadAdditions(config.resources.additions, *schemas, release);
  if (additions) return;
  const Findings faults = additions.error();
  findings.insert(findings.end(), faults.begin(), faults.end());
}

/// What the configuration refers to.
Findings CheckReferences(const config::Config& config, const std::string& file) {
  Findings findings;
  const auto policy = config::LoadPolicy(config.policy.file);
  if (!policy) findings = policy.error();  // error() of a constant gives a copy: take it once
  const auto zone = config::LoadZone(config.site.zone);
  if (!zone) findings.push_back({file, 0, "/site/zone", zone.error().message()});
  const auto codes = config::LoadCodeMaps(config);
  if (!codes) findings.push_back({file, 0, "/codes", codes.error().message()});
  CheckAdditions(config, findings);
  CheckFile(config.intake.certificate, "/intake/certificate", file, findings);
  CheckFile(config.intake.private_key, "/intake/private_key", file, findings);
  for (const auto& endpoint : config::AllEndpoints(config)) {
    const std::string at = endpoint.name == "main" ? "/endpoint" : "/endpoints/" + endpoint.name;
    CheckFile(endpoint.ca_file, at + "/ca_file", file, findings);
    CheckFile(endpoint.bearer_file, at + "/bearer_file", file, findings);
    CheckSigningKey(endpoint.key_file, at + "/key_file", file, findings);
    CheckFile(endpoint.certificate, at + "/certificate", file, findings);
    CheckFile(endpoint.private_key, at + "/private_key", file, findings);
  }
  return findings;
}

int Report(const Findings& findings) {
  for (const auto& finding : findings) Say(config::FormatFinding(finding));
  Say(std::to_string(findings.size()) + (findings.size() == 1 ? " finding" : " findings"));
  return config::ExitCode(ErrorKind::kConfig);
}

}  // namespace

int Check(const std::string& config_file, const Options& options) {
  const auto schemas = schemas::Bundled::Load();
  if (!schemas) {
    Say("the schemas of this build: " + schemas.error().message());
    return config::ExitCode(schemas.error().kind());
  }
  const auto config = config::LoadConfig(config_file, config::DwelldEnvironment());
  if (!config) return Report(config.error());
  const Findings findings = CheckReferences(*config, config_file);
  if (!findings.empty()) return Report(findings);
  if (options.endpoint) return CheckEndpoints(*config, options.endpoint_name, options.json);
  std::printf("%s", config::PrintConfig(*config).c_str());
  const auto codes = config::LoadCodeMaps(*config);
  if (!codes) return Report({{config_file, 0, "/codes", codes.error().message()}});
  const std::string report =
      OwnCodesInWords(*codes, options.verbose) + AskUnknownCodes(config->admin.socket);
  std::fputs(report.c_str(), stderr);
  Say("tz data " + config::TzDataVersion());
  Say("all right");
  return 0;
}

}  // namespace dwell::command
