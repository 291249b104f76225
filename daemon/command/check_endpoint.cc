#include "daemon/command/check_endpoint.h"

#include <algorithm>
#include <array>
#include <cstdio>
#include <optional>

#include "daemon/base/clock.h"
#include "daemon/command/admin_client.h"
#include "daemon/command/table.h"
#include "daemon/config/exit_code.h"
#include "daemon/delivery/configured.h"
#include "daemon/delivery/inquiry.h"
#include "schemas/json/writer.h"

namespace dwell::command {
namespace {

using delivery::Finding;
using delivery::Grade;

constexpr std::array<std::string_view, 3> kGrades = {"ok", "doubtful", "cannot"};
constexpr std::string_view kIndent = "          ";

std::string_view WordOf(Grade grade) { return kGrades[static_cast<std::size_t>(grade)]; }

std::string Summary(const std::vector<Finding>& findings) {
  std::string text;
  for (const Grade grade : {Grade::kOk, Grade::kDoubtful, Grade::kCannot}) {
    const auto count = std::ranges::count(findings, grade, &Finding::grade);
    text += (text.empty() ? "" : ", ") + std::to_string(count) + " " + std::string(WordOf(grade));
  }
  return text +
         "; no event was sent. What an endpoint says of itself is often wrong: dwelld chooses by "
         "it "
         "how to write, else goes by the configuration and by the answers to deliveries, and "
         "leaves "
         "nothing out because of this.\n";
}

}  // namespace

std::string FindingsAsText(const std::vector<Finding>& findings) {
  std::string text;
  for (const Finding& finding : findings) {
    std::string grade(WordOf(finding.grade));
    grade.resize(kIndent.size(), ' ');
    text.append(grade).append(finding.about).append(": ").append(finding.found).append("\n");
    text.append(kIndent).append("dwelld ").append(finding.will).append("\n");
    if (finding.to_do.empty()) continue;
    text.append(kIndent).append("to do: ").append(finding.to_do).append("\n");
  }
  return text;
}

std::string FindingsAsJson(const std::vector<Finding>& findings, const std::string& endpoint) {
  std::string lines;
  for (const Finding& finding : findings) {
    schemas::JsonWriter json;
    json.BeginObject();
    if (!endpoint.empty()) json.Member("endpoint", endpoint);
    json.Member("grade", WordOf(finding.grade));
    json.Member("about", finding.about);
    json.Member("found", finding.found);
    json.Member("will", finding.will);
    if (!finding.to_do.empty()) json.Member("to_do", finding.to_do);
    json.EndObject();
    lines += json.Take() + "\n";
  }
  return lines;
}

std::optional<delivery::Identity> HeldBy(schemas::Value status, const std::string& endpoint) {
  const auto endpoints = status.is_object() ? status.Find("endpoints") : std::nullopt;
  if (!endpoints || !endpoints->is_array()) return delivery::IdentityOf(TextAt(status, "/holds"));
  for (const schemas::Value one : *endpoints) {
    if (TextAt(one, "/endpoint") == endpoint) return delivery::IdentityOf(TextAt(one, "/holds"));
  }
  return std::nullopt;
}

namespace {

/// What the daemon, if it runs, says of itself.
std::optional<schemas::Document> AskStatus(const std::string& socket) {
  std::optional<schemas::Document> status;
  const auto asked = AskDaemon(socket, R"({"request":"status"})", [&](std::string_view row) {
    auto document = schemas::Document::Parse(row);
    if (document) status = std::move(*document);
  });
  if (!asked) return std::nullopt;
  return status;
}

/// `name` is empty where there is only one; `status` is null while no daemon runs.
int CheckOne(const config::Config& config, const config::Config::Endpoint& endpoint,
             const std::string& name, bool json, const schemas::Document* status) {
  const base::SystemClock clock;
  delivery::Wants wants = delivery::WantsOf(config, endpoint);
  if (status != nullptr) wants.in_use = HeldBy(status->root(), endpoint.name);
  const auto inquiry = delivery::Inquire(delivery::EndpointOf(config, endpoint), wants, clock);
  const std::string heading = name.empty() ? "" : name + ": ";
  if (!inquiry) {
    std::fprintf(stderr, "dwell: %s%s\n", heading.c_str(), inquiry.error().message().c_str());
    return config::ExitCode(inquiry.error().kind());
  }
  const auto& findings = inquiry->findings;
  if (!name.empty() && !json) std::printf("%s, %s\n", name.c_str(), endpoint.url.c_str());
  const std::string report = json ? FindingsAsJson(findings, name) : FindingsAsText(findings);
  std::fputs(report.c_str(), stdout);
  std::fputs((heading + Summary(findings)).c_str(), stderr);
  if (inquiry->unreached) return config::ExitCode(*inquiry->unreached);
  if (delivery::Worst(findings) == Grade::kCannot) return config::ExitCode(ErrorKind::kConfig);
  return 0;
}

}  // namespace

int CheckEndpoints(const config::Config& config, const std::string& name, bool json) {
  const auto all = config::AllEndpoints(config);
  const std::optional<schemas::Document> status = AskStatus(config.admin.socket);
  std::optional<int> code;
  for (const config::Config::Endpoint& endpoint : all) {
    if (!name.empty() && endpoint.name != name) continue;
    const int one = CheckOne(config, endpoint, all.size() > 1 ? endpoint.name : "", json,
                             status ? &*status : nullptr);
    if (!code || *code == 0) code = one;
  }
  if (code) return *code;
  std::fprintf(stderr, "dwell: no endpoint has the name %s\n", name.c_str());
  return config::ExitCode(ErrorKind::kConfig);
}

}  // namespace dwell::command
