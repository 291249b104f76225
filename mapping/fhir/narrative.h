// What a person reads in the record: the narrative (xhtml) of a resource, built row by row while
// the resource is written, so that the two cannot tell different things.
#pragma once

#include <string>
#include <string_view>

#include "mapping/due/policy.h"
#include "mapping/event/moment.h"

namespace dwell::fhir {

/// Text as xhtml content: & < > " escaped; characters that XML cannot hold are left out
/// (Extensible Markup Language 1.0, production Char).
std::string Escape(std::string_view text);

/// "2026-03-27 10:00 (+01:00)" from "2026-03-27T10:00:00+01:00"; seconds only when they are not 0.
std::string ReadableTime(std::string_view rfc3339);
/// The same for an instant of ours, on the ward's clock; in UTC without a zone.
std::string ReadableTime(Instant instant, const due::Zone* zone);

class Narrative {
 public:
  /// `title` heads the narrative.
  explicit Narrative(std::string_view title);
  /// A line "label: value". An empty label gives the value alone.
  void Row(std::string_view label, std::string_view value);
  /// The finished <div>. Call once.
  std::string Finish();

 private:
  std::string html_;
};

}  // namespace dwell::fhir
