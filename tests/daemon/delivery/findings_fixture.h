// A statement in parts, and what is looked at in the findings about it.
#pragma once

#include <gmock/gmock.h>

#include <algorithm>
#include <string>
#include <vector>

#include "daemon/delivery/findings.h"

namespace dwell::delivery {

inline constexpr const char* kOurTypes[] = {"Device",      "Procedure", "DeviceUseStatement",
                                            "Observation", "Task",      "Provenance"};

/// A statement in parts, each the JSON text of a member, so that a row can say one thing otherwise.
struct Statement {
  std::string version = R"("fhirVersion":"4.0.1",)";
  std::string format = R"("format":["xml","application/fhir+json"],)";
  std::string mode = "server";
  std::string security;
  std::string interaction = R"("interaction":[{"code":"transaction"},{"code":"batch"}],)";
  std::string writing = R"("interaction":[{"code":"read"},{"code":"update"}],"updateCreate":true)";
  std::string task;  ///< when not empty: instead of `writing`, for Task
  std::string searching =
      R"("interaction":[{"code":"search-type"}],"searchParam":[{"name":"identifier"}])";
  std::vector<std::string> left_out;

  std::string Text() const {
    std::string types;
    const auto add = [&](const std::string& type, const std::string& says) {
      if (std::ranges::find(left_out, type) != left_out.end()) return;
      types += (types.empty() ? "" : ",") + (R"({"type":")" + type + "\"") +
               (says.empty() ? "" : "," + says) + "}";
    };
    for (const char* const type : kOurTypes) {
      add(type, std::string_view(type) == "Task" && !task.empty() ? task : writing);
    }
    add("Patient", searching);
    add("Encounter", searching);
    return R"({"resourceType":"CapabilityStatement","status":"active","kind":"instance",)" +
           version + format + R"("rest":[{"mode":")" + mode + "\"," + security + interaction +
           R"("resource":[)" + types + "]}]}";
  }
};

inline net::Exchange Answer(std::string body, int status = 200,
                            std::string content_type = "application/fhir+json;charset=utf-8") {
  net::Exchange exchange;
  exchange.written = net::Written::kAll;
  exchange.status = status;
  exchange.content_type = std::move(content_type);
  exchange.body = std::move(body);
  return exchange;
}

/// Whatever is found: it says what dwelld does, and what to do unless all is well.
inline void ExpectWhole(const std::vector<Finding>& findings) {
  EXPECT_THAT(findings, testing::Not(testing::IsEmpty()));
  for (const Finding& finding : findings) {
    EXPECT_THAT(finding.about, testing::Not(testing::IsEmpty()));
    EXPECT_THAT(finding.found, testing::Not(testing::IsEmpty())) << finding.about;
    EXPECT_THAT(finding.will, testing::Not(testing::IsEmpty())) << finding.about;
    EXPECT_EQ(finding.to_do.empty(), finding.grade == Grade::kOk) << finding.about;
  }
}

/// The findings that are not ok, as "grade about: found".
inline std::vector<std::string> Troubles(const std::vector<Finding>& findings) {
  std::vector<std::string> troubles;
  for (const Finding& finding : findings) {
    if (finding.grade == Grade::kOk) continue;
    troubles.push_back((finding.grade == Grade::kDoubtful ? "doubtful " : "cannot ") +
                       finding.about + ": " + finding.found);
  }
  return troubles;
}

}  // namespace dwell::delivery
