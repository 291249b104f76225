#include "daemon/command/explain.h"

#include <cstdio>
#include <filesystem>

#include "daemon/command/explain_text.h"
#include "daemon/config/code_maps.h"
#include "daemon/config/exit_code.h"
#include "daemon/config/fhir_context.h"
#include "daemon/config/tz_data.h"

namespace dwell::command {
namespace {

/// The configuration that is meant; `file` says which, empty for the defaults.
Result<config::Config, std::vector<config::Finding>> Configuration(const std::string& file) {
  if (!file.empty()) return config::LoadConfig(file, config::DwelldEnvironment());
  config::Config defaults;
  defaults.site.site_namespace = "https://hospital.example/dwelld";
  defaults.site.zone = "UTC";
  return defaults;
}

int Complain(const std::string& text, ErrorKind kind) {
  std::fprintf(stderr, "%s\n", text.c_str());
  return config::ExitCode(kind);
}

int Complain(const Error& error) { return Complain(error.message(), error.kind()); }

}  // namespace

int ExplainKind(const Options& options) {
  std::string file = options.config_file;
  std::error_code ignored;
  if (file.empty() && std::filesystem::exists(kDefaultConfig, ignored)) file = kDefaultConfig;
  const auto config = Configuration(file);
  if (!config) {
    std::string text;
    for (const auto& finding : config.error()) text += config::FormatFinding(finding) + "\n";
    return Complain(text + "dwell: the configuration is wrong", ErrorKind::kConfig);
  }
  fhir::Context context = config::ContextOf(*config);
  const auto codes = config::LoadCodeMaps(*config);
  if (!codes) return Complain(codes.error());
  const auto zone = config::LoadZone(config->site.zone);
  if (!zone) return Complain(zone.error());
  const auto schemas = schemas::Bundled::Load(context.release);
  if (!schemas) return Complain(schemas.error());
  context.codes = &*codes;
  context.zone = &*zone;
  const auto rows = explain::Explain(options.kind, *schemas, context);
  const std::string text = options.json ? ExplainedAsJson(rows) : ExplainedAsText(rows);
  std::fwrite(text.data(), 1, text.size(), stdout);
  std::fprintf(stderr, "by %s: codes \"%s\"%s, FHIR %s\n", file.empty() ? "defaults" : file.c_str(),
               config->codes.edition.c_str(),
               config->codes.map.empty() ? "" : " and the site's map",
               config->endpoint.fhir_version.c_str());
  return 0;
}

}  // namespace dwell::command
