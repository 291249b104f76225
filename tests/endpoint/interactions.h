// FHIR R4 write interactions on a Record (http.html): one, or all of a transaction or none.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "schemas/json/document.h"
#include "tests/endpoint/record.h"
#include "tests/endpoint/resource_text.h"

namespace practice {

/// One write as it was asked for.
struct Operation {
  std::string method;         ///< POST, PUT or DELETE
  std::string url;            ///< "Type", "Type/id" or "Type?identifier=..."
  std::string if_none_exist;  ///< query of a conditional create
  std::string if_match;       ///< W/"n"
  std::string full_url;
  std::optional<dwell::schemas::Value> resource;
};

/// What became of it.
struct Done {
  std::string status;  ///< "201 Created"
  std::string type, id;
  std::uint64_t version = 0;
  std::string modified;
  bool is_no_change = false;  ///< a conditional create that found one

  std::string location() const { return type + "/" + id + "/_history/" + std::to_string(version); }
};

/// Why nothing was done.
struct Refusal {
  int status = 400;
  std::string code;  ///< FHIR issue-type
  std::string diagnostics;
};

struct Outcomes {
  std::vector<Done> done;
  std::optional<Refusal> refusal;  ///< then nothing was written
};

class Interactions {
 public:
  explicit Interactions(Record& record) : record_(record) {}

  /// Refuse references to resources that exist neither here nor among the operations.
  bool referential = false;
  /// Resolve conditional references where there are several operations (http.html#trules), or
  /// refuse what finds not exactly one.
  bool resolving = false;
  /// Ids are chosen here: what would create under an id of the client's is refused.
  bool own_ids = false;

  /// All or nothing.
  Outcomes Run(const std::vector<Operation>& operations);
  /// Operations of the entries of a transaction or batch Bundle.
  static std::vector<Operation> Read(dwell::schemas::Value bundle, std::optional<Refusal>& refusal);

 private:
  struct Plan {
    std::string type, id;
    bool is_delete = false, is_no_change = false;
  };
  std::optional<Refusal> Aim(const Operation& operation, Plan& plan);
  std::optional<Refusal> AimAtMatch(const Operation& operation, const std::string& query,
                                    Plan& plan);
  std::optional<Refusal> Compose(const Operation& operation, const Plan& plan, Targets& targets,
                                 const std::string& now, Write& write,
                                 std::vector<std::string>& references);
  std::optional<Refusal> Resolve(const std::vector<std::string>& searches, Targets& targets) const;
  std::optional<Refusal> Missing(const std::vector<std::string>& references,
                                 const std::vector<Plan>& plans) const;
  std::string NewId() { return "practice-" + std::to_string(++last_id_); }

  Record& record_;
  std::uint64_t last_id_ = 0;
};

/// The value of `name` in a query, percent-decoded; empty when absent.
std::string QueryValue(std::string_view query, std::string_view name);

}  // namespace practice
