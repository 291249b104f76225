// The FHIR data types we use, written once: CodeableConcept, Identifier, Reference, Quantity,
// Period...
#pragma once

#include <string>
#include <string_view>

#include "mapping/codes/codes.h"
#include "mapping/event/event.h"
#include "schemas/json/writer.h"

namespace dwell::fhir {

using schemas::JsonWriter;

inline constexpr std::string_view kUcum = "http://unitsofmeasure.org";
inline constexpr std::string_view kTerminology = "http://terminology.hl7.org/CodeSystem/";

/// A code of an HL7 system below terminology.hl7.org that a binding of R4 asks for by name.
struct Hl7Code {
  std::string_view system;  ///< last part of the canonical, after kTerminology
  std::string_view code;
  std::string_view display;
};

/// A CodeableConcept as a value: {"coding":[...],"text":"..."}. `text` replaces the concept's own.
void WriteConcept(JsonWriter& json, const codes::Concept& what, std::string_view text = {});
void WriteConcept(JsonWriter& json, const Hl7Code& code);
/// A CodeableConcept with the codings of both.
void WriteConcepts(JsonWriter& json, const codes::Concept& first, const codes::Concept& second,
                   std::string_view text);

/// {"system":...,"value":...}.
void WriteIdentifier(JsonWriter& json, std::string_view system, std::string_view value);

/// {"reference":"Type/id"}.
void WriteReference(JsonWriter& json, std::string_view type, std::string_view id);

/// A reference to something that is known by identifier only: {"type","identifier","display"}.
void WriteLogicalReference(JsonWriter& json, std::string_view type, std::string_view system,
                           std::string_view value, std::string_view display = {});

/// A unit: what people read, and its UCUM code (empty: UCUM has none).
struct Unit {
  std::string_view text;
  std::string_view ucum;
};

/// {"value":2.50,"unit":...,"system":...,"code":...}; `number` is the text of a JSON number,
/// without exponent by the event contract (format "plain-decimal").
void WriteQuantity(JsonWriter& json, std::string_view number, const Unit& unit);

/// {"start":...,"end":...}; an empty one is left out.
void WritePeriod(JsonWriter& json, std::string_view start, std::string_view end);

/// Member `prefix`DateTime, or `prefix`Period when the event says from when until when.
void WriteWhen(JsonWriter& json, std::string_view prefix, const event::Event& event);

/// The elapsed time in hours, rounded to at most 2 decimals (half away from zero): "72", "25.5".
std::string FormatHours(std::chrono::milliseconds elapsed);

/// `text` as one segment of a URI's path (RFC 3986 section 2): everything but unreserved
/// characters is percent-encoded.
std::string EncodeSegment(std::string_view text);

}  // namespace dwell::fhir
