// What the tests of this room work in: an invented hospital with its policy, zone and code maps,
// and a line whose events come in one after the other.
#pragma once

#include <filesystem>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "mapping/due/due.h"
#include "mapping/fhir/bundle.h"
#include "mapping/line/line.h"

namespace dwell::test {

/// Loaded once.
struct World {
  codes::CodeMap free;
  codes::CodeMap licensed;
  due::Policy policy;
  due::Zone zone;
  static const World& Get();
};

/// A context of the invented hospital.
fhir::Context ContextOf(bool licensed = false, bool test_data = false);

/// The lines of an NDJSON text, none of them empty.
std::vector<std::string> Lines(const std::string& text);

/// Reads one event that must be legal.
std::shared_ptr<const event::Event> ReadOne(std::string_view json);

/// A minimal event: common members, `kind`, `id`, `at` as its time (recorded two minutes on), and
/// `more`: further members as JSON text.
std::shared_ptr<const event::Event> Told(std::string_view kind, std::string_view id,
                                         std::string_view at, std::string_view more);

/// A line as the ledger would keep it: its events, what was issued, how many bundles were made.
class Life {
 public:
  explicit Life(fhir::Context context) : context_(context) {}

  /// The event comes in at its recorded time, or at `received` if given.
  fhir::Made Receive(std::shared_ptr<const event::Event> event,
                     std::optional<Instant> received = {});
  /// Time alone goes on to `now`.
  fhir::Made Wait(Instant now);

  const std::vector<fhir::Issued>& issued() const { return issued_; }
  const std::vector<std::shared_ptr<const event::Event>>& events() const { return events_; }
  /// Makes everything from nothing, as of the last step.
  fhir::Made FromScratch() const;

 private:
  fhir::Made Step(const event::Event* event, Instant now);

  fhir::Context context_;
  std::vector<std::shared_ptr<const event::Event>> events_;
  std::vector<fhir::Issued> issued_;
  std::uint64_t sequence_ = 0;
  Instant now_{};
};

/// Status of every resource made, by "Type/id"; empty where the type has none.
std::map<std::string, std::string> Statuses(const fhir::Made& made);

/// An instant from RFC 3339 text that must be legal.
Instant At(std::string_view text);

}  // namespace dwell::test
