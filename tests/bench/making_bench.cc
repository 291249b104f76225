// Microseconds of CPU for what one event costs between reading and storing: the line derived, the
// dues computed, its resources made, checked and put into a bundle; over a typical life of a line
// (the kinds and bodies of events.lua). Not a test: prints figures. Usage: making_bench
#include <algorithm>
#include <array>
#include <cstdio>
#include <ctime>
#include <memory>
#include <string>
#include <vector>

#include "mapping/due/due.h"
#include "mapping/fhir/bundle.h"
#include "mapping/fhir/unknown_codes.h"
#include "mapping/line/line.h"
#include "schemas/bundled.h"
#include "tests/bench/cpu_time.h"
#include "tests/schemas/files.h"

namespace dwell {
namespace {

constexpr int kRounds = 7;
constexpr int kRepeats = 400;
constexpr std::chrono::hours kCheckAfterRemoval{48};

struct Told {
  const char* kind;
  const char* at;
  const char* more;
};

constexpr const char* kCheckBody =
    R"("signs":{"pain":"absent","erythema":"absent","swelling":"absent","induration":"absent",
    "palpable_cord":"absent","pyrexia":"absent"},"grade":{"scale":"visual-infusion-phlebitis",
    "version":"1998","value":0},"dressing":{"condition":"intact"},"patency":"patent",
    "still_needed":"yes")";
constexpr const char* kFlushBody =
    R"("flush":{"fluid":"sodium-chloride-0-9","mL":5.0,"swelling":"absent"},"patency":"patent")";
constexpr const char* kInsertionBody =
    R"("outcome":"placed","line":{"kind":"peripheral-cannula","gauge":20,"length_mm":32,
    "lot":"L4471","expiry":"2028-03"},"site":{"place":"forearm","side":"left","vein":"cephalic"},
    "setting":"planned","preparation":{"identity_checked":"yes","consent":"yes",
    "hands_decontaminated":"yes","gloves":"yes","apron":"yes","equipment_in_date":"yes",
    "skin_dried_s":30,"site_touched_again":"no","key_parts_untouched":"yes"},
    "flush":{"fluid":"sodium-chloride-0-9","mL":5.0,"lot":"F1203","swelling":"absent"},
    "dressing":{"type":"transparent","condition":"intact"})";
constexpr const char* kRemovalBody =
    R"("reason":"no-longer-required","tip_complete":"yes","bleeding_stopped":"yes")";

constexpr std::array kLife = {
    Told{"insertion", "2026-03-02T08:00:00Z", kInsertionBody},
    Told{"site-check", "2026-03-02T14:02:00Z", kCheckBody},
    Told{"flush", "2026-03-02T18:00:00Z", kFlushBody},
    Told{"site-check", "2026-03-02T22:05:00Z", kCheckBody},
    Told{"site-check", "2026-03-03T06:01:00Z", kCheckBody},
    Told{"flush", "2026-03-03T08:00:00Z", kFlushBody},
    Told{"site-check", "2026-03-03T14:10:00Z", kCheckBody},
    Told{"site-check", "2026-03-03T22:00:00Z", kCheckBody},
    Told{"site-check", "2026-03-04T06:00:00Z", kCheckBody},
    Told{"removal", "2026-03-04T09:30:00Z", kRemovalBody},
};

template <class Call>
double Best(Call call) {
  return bench::Best(kRounds, kRepeats, call);
}

std::string Json(const Told& told, std::size_t number) {
  std::string json = R"({"kind":")" + std::string(told.kind) + R"(","id":"bench-)";
  json += std::to_string(number) + R"(","source":"bench-ward","happened_at":")" + told.at;
  json += R"(","recorded_at":")" + std::string(told.at);
  json += R"(","patient":{"system":"https://fhir.nhs.uk/Id/nhs-number","value":"9990000131"})";
  json += R"(,"place":{"ward":"W1","bay":"2","bed":"3"},"line_id":"bench-L1","staff":[)";
  json += R"({"system":"https://staff.example/id","value":"S1","role":"registered-nurse"}],)";
  return json + told.more + "}";
}

/// What the daemon has loaded at start.
struct Loaded {
  Result<schemas::Bundled> schemas = schemas::Bundled::Load();
  Result<codes::CodeMap> codes = codes::CodeMap::LoadBundled(codes::CodeMap::Edition::kFree);
  Result<due::Zone> zone = due::Zone::Load("Europe/London");
  schemas::Document policy_text;
  Result<due::Policy> policy = due::ReadPolicy(policy_text.root());
};

struct Sum {
  double parse = 0, derive = 0, due = 0, make = 0, check = 0, bundle = 0, codes = 0;
  double all() const { return parse + derive + due + make + check + bundle + codes; }
};

int Run(const Loaded& loaded) {
  fhir::Context context;
  context.site_namespace = "https://stmerrow.example/lines";
  context.codes = &*loaded.codes;
  context.zone = &*loaded.zone;
  std::vector<std::shared_ptr<const event::Event>> events;
  std::vector<fhir::Issued> issued;
  Sum sum;
  std::size_t bytes = 0;
  std::printf("%-12s %5s %7s %8s %8s %8s %8s %8s %8s %8s %8s\n", "us CPU", "res.", "bytes", "read",
              "derive", "dues", "make", "check", "bundle", "codes", "all");
  for (std::size_t i = 0; i < kLife.size(); ++i) {
    const std::string json = Json(kLife[i], i);
    Sum one;
    one.parse = Best([&] {
      const auto document = schemas::Document::Parse(json);
      CHECK(document.has_value() && loaded.schemas->CheckEvent(document->root()).empty());
      CHECK(event::ReadEvent(document->root()).has_value());
    });
    const auto document = schemas::Document::Parse(json);
    events.push_back(std::make_shared<event::Event>(*event::ReadEvent(document->root())));
    const event::Event& event = *events.back();
    const line::Key key{event.source, event.line_id};
    const Instant now = event.recorded_at.instant;
    one.derive = Best([&] { CHECK(line::Derive(key, events, kCheckAfterRemoval).has_value()); });
    const auto line = line::Derive(key, events, kCheckAfterRemoval);
    one.due = Best([&] { CHECK(!due::Compute(*line, *loaded.policy, *loaded.zone, now).empty()); });
    const auto dues = due::Compute(*line, *loaded.policy, *loaded.zone, now);
    const fhir::Cause cause{&event, now, i + 1};
    one.make =
        Best([&] { CHECK(!fhir::Make(*line, dues, context, issued, cause).resources.empty()); });
    fhir::Made made = fhir::Make(*line, dues, context, issued, cause);
    one.check = Best([&] {
      for (const fhir::Resource& resource : made.resources) {
        const auto again = schemas::Document::Parse(resource.json);
        CHECK(again.has_value() && loaded.schemas->CheckResource(again->root()).empty());
      }
    });
    one.bundle = Best([&] { CHECK(!fhir::TransactionBundle(made.resources).empty()); });
    const std::size_t bundle_bytes = fhir::TransactionBundle(made.resources).size();
    one.codes = Best([&] { CHECK(fhir::UnknownCodes(event, *loaded.codes).size() <= 1); });
    std::printf("%-12s %5zu %7zu %8.2f %8.2f %8.2f %8.2f %8.2f %8.2f %8.2f %8.2f\n", kLife[i].kind,
                made.resources.size(), bundle_bytes, one.parse, one.derive, one.due, one.make,
                one.check, one.bundle, one.codes, one.all());
    issued = std::move(made.issued);
    bytes += bundle_bytes;
    sum.parse += one.parse, sum.derive += one.derive, sum.due += one.due;
    sum.make += one.make, sum.check += one.check, sum.bundle += one.bundle;
    sum.codes += one.codes;
  }
  const double n = kLife.size();
  std::printf("%-12s %5s %7.0f %8.2f %8.2f %8.2f %8.2f %8.2f %8.2f %8.2f %8.2f\n", "mean", "",
              static_cast<double>(bytes) / n, sum.parse / n, sum.derive / n, sum.due / n,
              sum.make / n, sum.check / n, sum.bundle / n, sum.codes / n, sum.all() / n);
  return 0;
}

}  // namespace
}  // namespace dwell

int main() {
  using namespace dwell;
  auto policy = schemas::Document::Parse(schemas::ReadFile("tests/golden/policy.json"));
  CHECK(policy.has_value());
  const Loaded loaded{.policy_text = std::move(*policy)};
  CHECK(loaded.schemas.has_value() && loaded.codes.has_value() && loaded.zone.has_value() &&
        loaded.policy.has_value());
  return Run(loaded);
}
