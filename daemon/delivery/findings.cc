#include "daemon/delivery/findings.h"

#include <algorithm>
#include <array>
#include <optional>

#include "daemon/delivery/findings_style.h"
#include "daemon/delivery/findings_types.h"
#include "daemon/delivery/verdict.h"

namespace dwell::delivery {
namespace {

using net::Exchange;
using net::Failure;

constexpr Grade kOk = Grade::kOk;
constexpr Grade kDoubtful = Grade::kDoubtful;
constexpr Grade kCannot = Grade::kCannot;
/// A word of the peer's, as long as the words that FHIR has for its place.
constexpr std::size_t kWordBytesMax = 40;

constexpr const char* kSendsAnyway =
    "sends all the same, as endpoint.writes says or else as transactions, and goes by the answers; "
    "dwell queue and dwell status show what is refused";

/// What an answer that is no 200 to GET metadata means, where it is known.
struct StatusRow {
  int first, last;
  const char* found;
  const char* to_do;
};
constexpr std::array kStatusRows = {
    StatusRow{300, 399, "redirects, and dwelld follows no redirect",
              "put the address that really answers into endpoint.url"},
    StatusRow{
        401, 401, "does not accept our credentials, or wants some, even for its statement",
        "see [endpoint]: bearer_file, token_url or certificate; deliveries may fare the same"},
    StatusRow{403, 403, "forbids us its statement",
              "ask who runs the endpoint which rights this client has"},
    StatusRow{404, 404, "has no statement at this address",
              "see that endpoint.url is the base URL: what comes before /metadata and /Patient"},
    StatusRow{406, 406, "does not give its statement as JSON",
              "ask who runs the endpoint whether it takes application/fhir+json"},
    StatusRow{407, 407, "is behind a proxy that wants credentials", "ask who runs the network"},
    StatusRow{410, 410, "has no statement at this address any more",
              "see that endpoint.url is still the base URL"},
    StatusRow{400, 499, "refuses to give its statement", "ask who runs the endpoint"},
    StatusRow{500, 599, "could not answer now", "run this again later"},
    StatusRow{0, 999, "answers with a status that nobody expects here",
              "see what listens at endpoint.url"},
};

Finding ByStatus(int status) {
  const auto* const row = std::ranges::find_if(kStatusRows, [status](const StatusRow& candidate) {
    return candidate.first <= status && status <= candidate.last;
  });
  const std::string answered = "the endpoint answered " + std::to_string(status) + ": it ";
  if (row == kStatusRows.end()) return {kDoubtful, "statement", answered, kSendsAnyway, kAskThem};
  return {kDoubtful, "statement", answered + row->found, kSendsAnyway, row->to_do};
}

Finding NoStatement(const std::string& instead) {
  return {kDoubtful, "statement", "GET metadata gives " + instead, kSendsAnyway,
          "see that endpoint.url is the base URL of a FHIR server; else ask who runs it"};
}

Finding NoAnswer(const Exchange& exchange) {
  const bool is_tls = exchange.failure == Failure::kTls;
  return {kCannot, "connection", exchange.error,
          "keeps everything and tries again until the endpoint answers",
          is_tls ? "see the certificates: endpoint.ca_file, certificate, private_key and theirs"
                 : "see endpoint.url, the network, and that the endpoint runs"};
}

/// "4.0" of "4.0.1": releases that agree in it differ in corrections of the text only
/// (FHIR versions.html: major.minor.patch).
std::string_view MajorMinor(std::string_view version) {
  return version.substr(0, version.find('.', version.find('.') + 1));
}

Finding JudgeVersion(const Capability& capability, const Wants& wants) {
  const std::string ours(FhirVersion(wants.release));
  const std::string theirs = Excerpt(capability.fhir_version, kWordBytesMax);
  Finding finding = {kOk, "FHIR version", "FHIR " + theirs + ", as configured",
                     "writes FHIR " + ours + " (endpoint.fhir_version)", ""};
  if (theirs == ours) return finding;
  finding.grade = kDoubtful;
  finding.to_do = kAskThem;
  if (theirs.empty()) {
    finding.found = "does not say which FHIR version it is";
    return finding;
  }
  finding.found = "FHIR " + theirs + ", not " + ours;
  if (MajorMinor(theirs) == MajorMinor(ours)) {
    finding.found += "; they differ in corrections only";
    return finding;
  }
  finding.grade = kCannot;
  finding.to_do =
      FhirReleaseOf(theirs)
          ? "set endpoint.fhir_version = \"" + theirs + "\""
          : "dwelld writes 4.0.1, 4.3.0 and 5.0.0: use an endpoint that takes one of them";
  return finding;
}

Finding JudgeFormat(const Capability& capability) {
  Finding finding = {kOk, "format", "JSON", "sends and asks for application/fhir+json", ""};
  const auto& formats = capability.formats;
  if (std::ranges::any_of(formats, [](const auto& one) { return one == "json" || IsJson(one); })) {
    return finding;
  }
  finding.grade = formats.empty() ? kDoubtful : kCannot;
  finding.found = formats.empty() ? "does not say which formats it takes"
                                  : "lists formats, and JSON is not among them";
  finding.to_do = kAskThem;
  return finding;
}

/// Codes of http://terminology.hl7.org/CodeSystem/restful-security-service.
Finding JudgeAdmission(const Capability& capability, const Wants& wants) {
  constexpr std::array kWills = {"shows no credentials", "shows the token of endpoint.bearer_file",
                                 "shows tokens from endpoint.token_url"};
  Finding finding = {kOk, "security", "", kWills[static_cast<std::size_t>(wants.admission)], ""};
  if (wants.has_certificate) finding.will += ", and our certificate (endpoint.certificate)";
  const auto& services = capability.security_services;
  const bool shows_token = wants.admission != Admission::kNothing;
  if (services.empty()) {
    finding.found = "does not say how it lets clients in";
    if (!shows_token && !wants.has_certificate) return finding;
    finding.grade = kDoubtful;
    finding.to_do = "the first delivery will show it; dwell status tells the last failure";
    return finding;
  }
  finding.found = "lets clients in by";
  for (const std::string& service : services) {
    finding.found += (&service == &services.front() ? " " : ", ") + Excerpt(service, kWordBytesMax);
  }
  const bool is_token = Lists(services, "SMART-on-FHIR") || Lists(services, "OAuth");
  const bool is_certificate = Lists(services, "Certificates");
  if ((shows_token && is_token) || (wants.has_certificate && is_certificate)) return finding;
  finding.grade = kDoubtful;
  finding.to_do = "see [endpoint]: bearer_file, token_url or certificate";
  return finding;
}

}  // namespace

std::vector<Finding> JudgeStatement(const Exchange& exchange, const Wants& wants) {
  if (exchange.failure == Failure::kTooLarge) return {NoStatement("more than we read of one")};
  if (exchange.failure != Failure::kNone) return {NoAnswer(exchange)};
  if (exchange.status != 200) return {ByStatus(exchange.status)};
  if (!IsJson(exchange.content_type)) return {NoStatement("an answer that is no FHIR JSON")};
  const auto capability = ReadCapability(exchange.body);
  if (!capability) return {NoStatement(capability.error().instead)};
  std::vector<Finding> findings = {
      {kOk, "statement", "a CapabilityStatement",
       "chooses by it how to write, and leaves nothing out because of it", ""}};
  findings.push_back(JudgeVersion(*capability, wants));
  findings.push_back(JudgeFormat(*capability));
  if (!capability->is_server) {
    findings.push_back({kDoubtful, "interactions", "the statement describes no server",
                        kSendsAnyway, "see that endpoint.url is the base URL of a FHIR server"});
    return findings;
  }
  const WriteStyle style = ChooseStyle(&*capability, wants.pins, wants.release, wants.in_use);
  JudgeStyle(*capability, wants, style, findings);
  JudgeTypes(*capability, wants, style.identity, findings);
  JudgeReferences(*capability, wants, style.interaction, findings);
  findings.push_back(JudgeAdmission(*capability, wants));
  return findings;
}

Finding JudgeSmart(const Exchange& exchange, const Wants& wants) {
  Finding finding = {kDoubtful, "token endpoint", "", "asks for tokens at " + wants.token_url, ""};
  const bool is_there = exchange.failure == Failure::kNone && exchange.status == 200;
  const auto smart = is_there ? ReadSmartConfiguration(exchange.body) : std::nullopt;
  if (!smart || smart->token_endpoint.empty()) {
    finding.found =
        "the endpoint does not tell its token endpoint (.well-known/smart-configuration)";
    finding.to_do = "see that endpoint.token_url is the one that you were given";
  } else if (smart->token_endpoint != wants.token_url) {
    finding.found = "the endpoint names another one (.well-known/smart-configuration)";
    finding.to_do = "ask who runs the endpoint which is right for endpoint.token_url";
  } else if (!smart->auth_methods.empty() && !Lists(smart->auth_methods, "private_key_jwt")) {
    finding.found = "its ways to prove who asks do not have private_key_jwt";
    finding.to_do = kAskThem;
  } else {
    finding.grade = kOk;
    finding.found = "the one that the endpoint names";
  }
  return finding;
}

Grade Worst(const std::vector<Finding>& findings) {
  Grade worst = kOk;
  for (const Finding& finding : findings) worst = std::max(worst, finding.grade);
  return worst;
}

}  // namespace dwell::delivery
