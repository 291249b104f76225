// The configuration of an installation: one TOML file, overridden by the environment, checked by
// schemas/config.schema.json. Every key is one row of the table in config.cc.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "daemon/config/toml.h"

namespace dwell::config {

/// Paths are absolute, or relative to the working folder: those of the file are taken relative to
/// its folder. Secrets are never in here, only the paths of the files that hold them.
struct Config {
  struct Site {
    std::string site_namespace;  ///< key "namespace": absolute URI, scope of all our identifiers
    std::string zone;            ///< e.g. "Europe/London"
    bool test_data = false;      ///< label everything as test data
  } site;
  struct Store {
    std::string path;
    std::int64_t keep_delivered_days = 30;  ///< bodies, since they were settled; 0: for ever
    /// Events of lines that ended, since the newest came in; 0: for ever. A year: what an audit of
    /// the last twelve months asks can be derived again; older questions are the hospital record's.
    std::int64_t keep_closed_lines_days = 365;
  } store;
  struct Intake {
    std::string address = "127.0.0.1";
    std::int64_t port = 8080;  ///< 0: any free one
    std::string certificate;   ///< PEM; with it TLS is spoken
    std::string private_key;
  } intake;
  struct Admin {
    std::string socket;  ///< default: the store's path with ".socket" appended
  } admin;
  struct Operate {
    /// "127.0.0.1:8081", "[::1]:8081": where /livez, /readyz and /metrics are; empty: nowhere
    std::string listen;
    std::int64_t silent_after_min = 0;  ///< a source not heard for longer is silent; 0: by its gaps
  } operate;
  struct Search {
    std::string listen;  ///< likewise, where Tasks are searched for
  } search;
  struct Endpoint {
    std::string name = "main";  ///< no key: that of the table, [endpoint] or [endpoints.NAME]
    std::string url;
    std::string fhir_version = "4.0.1";  ///< also "4.3.0" and "5.0.0"
    std::string ca_file;                 ///< PEM; empty: the system's
    std::string bearer_file;
    std::string certificate;
    std::string private_key;
    std::string token_url;  ///< with the next four: SMART Backend Services; empty: not used
    std::string client_id;
    std::string key_file;  ///< PEM, RSA or P-384
    std::string key_id;
    std::string scope;
    std::int64_t in_flight_max = 16;
    std::int64_t attempt_time_max_s = 30;
    std::string writes = "auto";     ///< also "transaction", "batch" and "single"
    std::string identity = "auto";   ///< also "update-as-create" and "conditional-update"
    std::int64_t share_max = 1;      ///< bundles that may share a request
    std::vector<std::string> types;  ///< of resources that go there; empty: all
  } endpoint;
  std::vector<Endpoint> endpoints;  ///< further ones, with the main one's fhir_version
  struct Policy {
    std::string file;
  } policy;
  struct Codes {
    std::string edition = "free";  ///< "free" | "licensed"
    std::string map;  ///< JSON file: a ConceptMap of the site's own, laid over ours; empty: none
  } codes;
  /// Each "identifier" | "conditional" | "resolved".
  struct References {
    std::string patient = "identifier";
    std::string encounter = "identifier";
    std::int64_t cached_for_h = 1;  ///< how long what was resolved is remembered; 0: not at all
  } references;
  struct Reconcile {
    std::int64_t every_h = 0;         ///< 0: only when somebody asks for it
    std::int64_t look_back_days = 2;  ///< the period that is read back
    bool send = false;                ///< what is missing or differs goes out again
  } reconcile;
  struct Resources {
    std::string additions;  ///< JSON file of merge patches by resource type; empty: none
    bool profiles = false;  ///< name our profiles in meta.profile
    std::vector<std::string> security;  ///< labels, each "system|code" or "system|code|display"
  } resources;
};

/// An IP address and a port.
struct ListenAt {
  std::string address;
  std::uint16_t port = 0;  ///< 0: any free one
};
/// Of a text as operate.listen has it; empty: it is none.
std::optional<ListenAt> ReadListen(std::string_view text);

/// The main one, then the others in the order of their names.
std::vector<Config::Endpoint> AllEndpoints(const Config& config);

using Environment = std::vector<std::pair<std::string, std::string>>;

/// The process's environment, those variables that start with DWELLD_.
Environment DwelldEnvironment();

/// Reads a configuration text. `file` is for messages and for relative paths. A variable
/// DWELLD_SECTION_KEY wins over the file (a list's items separated by ';'); one that names no key
/// is a finding. Those of [endpoints.NAME] have no variables.
Result<Config, std::vector<Finding>> ReadConfig(const std::string& file, std::string_view text,
                                                const Environment& environment);

/// The same from disk.
Result<Config, std::vector<Finding>> LoadConfig(const std::string& file,
                                                const Environment& environment);

/// The configuration in effect, defaults included, as TOML.
std::string PrintConfig(const Config& config);

}  // namespace dwell::config
