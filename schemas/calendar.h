// Dates and times as text: FHIR R4 date, dateTime, instant and time
// (hl7.org/fhir/R4/datatypes.html) and RFC 3339, with the calendar checked. No time zone data is
// needed for that.
#pragma once

#include <string_view>

namespace dwell::schemas {

bool IsFhirDate(std::string_view text);      ///< YYYY, YYYY-MM or YYYY-MM-DD
bool IsFhirDateTime(std::string_view text);  ///< a date, or with time, seconds and offset
bool IsFhirInstant(std::string_view text);   ///< date, time with seconds, and offset
bool IsFhirTime(std::string_view text);      ///< hh:mm:ss, perhaps with a fraction
/// RFC 3339 section 5.6, with capital letters, offsets up to 14:00, second 60 accepted.
bool IsMoment(std::string_view text);
bool IsDateOrMonth(std::string_view text);  ///< YYYY-MM or YYYY-MM-DD

}  // namespace dwell::schemas
