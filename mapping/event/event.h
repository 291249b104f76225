// A ward event, typed: what staff did to or saw at a vascular line, as the contract (version 1,
// schemas/event/) lets them say it. Made only from a document that passed its contract.
// The name of each JSON member is the name of the field here, unless a comment says otherwise.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "mapping/event/moment.h"
#include "mapping/event/udi.h"
#include "schemas/json/document.h"

namespace dwell::event {

/// A number exactly as written ("2.50"). Compared or computed with only where a rule needs it.
struct Decimal {
  std::string text;
  friend bool operator==(const Decimal&, const Decimal&) = default;
};

/// A code of our own CodeSystem (lower case words joined by '-'), e.g. "dorsum-of-hand".
/// Translated by the code maps; an unmapped one is delivered as text with our own code.
using Code = std::string;

/// yes | no | not-known: a step that nobody answered is not a step that was left out.
enum class Answer : std::uint8_t { kNotKnown, kYes, kNo };
/// present | absent | not-assessable; and kNotAsked when the sender says nothing.
enum class Finding : std::uint8_t { kNotAsked, kPresent, kAbsent, kNotAssessable };

struct Identifier {
  std::string system;  ///< an absolute URI
  std::string value;
  friend bool operator==(const Identifier&, const Identifier&) = default;
};

struct Patient {
  std::string system;
  std::string value;
  std::optional<Identifier> second;  ///< optional second identifier {system, value}
};

struct Place {
  std::string ward;
  std::string bay;  ///< empty when not said, like `bed`
  std::string bed;
};

struct StaffMember {
  std::string system;
  std::string value;
  Code role;  ///< "registered-nurse", "physician", ... ; may be empty
};

/// Where on the body.
struct Site {
  Code place;  ///< "dorsum-of-hand", "wrist", "forearm", "antecubital-fossa", "upper-arm", ...
  Code side;   ///< "left" | "right" | ""
  Code vein;   ///< "cephalic", "basilic", ... ; may be empty
};

/// A flush, given at insertion, at a check or on its own. Member `mL` is `millilitres` here.
struct FlushGiven {
  Code fluid;                          ///< "sodium-chloride-0.9" in practice
  std::optional<Decimal> millilitres;  ///< member "mL"
  std::string lot;
  std::string expiry;  ///< a date, "YYYY-MM" or "YYYY-MM-DD"; empty when not said
  Answer checked_by_two = Answer::kNotKnown;
  Finding swelling = Finding::kNotAsked;  ///< swelling seen on flushing: the line has failed
  Finding resistance = Finding::kNotAsked;
};

struct Dressing {
  Code type;       ///< "transparent", "gauze", ...; may be empty
  Code condition;  ///< "intact" | "loose" | "damp" | "soiled" | "" when not said
};

/// One try at putting the line in that did not succeed.
struct FailedAttempt {
  Site site;
  Code reason;               ///< "swelling-on-flush", "no-flashback", "vein-lost", ...
  std::optional<Moment> at;  ///< when, if told
};

struct LineDescription {
  Code kind;  ///< "peripheral-cannula", "midline", "picc", "cvc", "arterial-line", ...
  std::optional<std::int64_t> gauge;  ///< G, 13..26
  std::optional<Decimal> french;      ///< Ch
  std::optional<Decimal> length_mm;
  std::string lot;
  std::string expiry;            ///< "YYYY-MM" or "YYYY-MM-DD"
  std::string udi;               ///< as scanned
  std::optional<Udi> udi_parts;  ///< no member of the contract: `udi` taken apart, if there is one
};

/// How the insertion was prepared: the aseptic steps. Every member optional in the contract.
struct Preparation {
  Answer identity_checked = Answer::kNotKnown;  ///< against an official document
  Answer consent = Answer::kNotKnown;
  Answer hands_decontaminated = Answer::kNotKnown;
  Answer gloves = Answer::kNotKnown;
  Answer apron = Answer::kNotKnown;
  Answer equipment_in_date = Answer::kNotKnown;
  Answer surface_cleaned = Answer::kNotKnown;     ///< surface and tray cleaned
  std::optional<Decimal> surface_dried_min;       ///< minutes left to dry
  Code skin_antiseptic;                           ///< "chlorhexidine-2-alcohol-70", ...
  std::optional<Decimal> skin_dried_s;            ///< seconds left to dry
  Answer site_touched_again = Answer::kNotKnown;  ///< yes is the bad answer here
  Answer key_parts_untouched = Answer::kNotKnown;
  Answer hub_disinfected = Answer::kNotKnown;
};

enum class Outcome : std::uint8_t { kPlaced, kFailed, kDeclined, kNotAttempted };

struct Insertion {
  Outcome outcome = Outcome::kPlaced;   ///< "placed" | "failed" | "declined" | "not-attempted"
  Code reason;                          ///< required by the contract unless placed
  std::optional<LineDescription> line;  ///< required by the contract when placed
  std::optional<Site> site;             ///< required by the contract when placed
  bool emergency = false;               ///< member "setting": "planned" | "emergency"
  std::vector<FailedAttempt> attempts;  ///< the failed ones only, in order
  std::optional<Preparation> preparation;
  std::optional<FlushGiven> flush;  ///< the first flush
  Finding blood_on_entry = Finding::kNotAsked;
  Finding blood_on_advance = Finding::kNotAsked;
  Answer extension_primed = Answer::kNotKnown;  ///< member "extension" {primed, clamped}
  Answer extension_clamped = Answer::kNotKnown;
  std::optional<Dressing> dressing;
  Answer date_label = Answer::kNotKnown;
  Answer patient_told = Answer::kNotKnown;
};

/// Signs at the site. Each member of "signs" is present | absent | not-assessable.
struct Signs {
  Finding pain = Finding::kNotAsked;
  Finding erythema = Finding::kNotAsked;
  Finding swelling = Finding::kNotAsked;
  Finding induration = Finding::kNotAsked;
  Finding palpable_cord = Finding::kNotAsked;
  Finding pyrexia = Finding::kNotAsked;
  Finding streak = Finding::kNotAsked;
  Finding pus = Finding::kNotAsked;
  Finding leakage = Finding::kNotAsked;
  Finding bleeding = Finding::kNotAsked;
  Finding bruising = Finding::kNotAsked;
  Finding blanching = Finding::kNotAsked;
  Finding coolness = Finding::kNotAsked;
};

/// Measures where staff give them, member "measures".
struct Measures {
  std::optional<Decimal> redness_mm;
  std::optional<Decimal> swelling_mm;
  std::optional<std::int64_t> pain_0_10;
  std::optional<Decimal> temperature_cel;
};

struct Grade {
  Code scale;           ///< "visual-infusion-phlebitis" | "ins-phlebitis" | ...
  std::string version;  ///< of the scale, e.g. "1998"
  std::int64_t value = 0;
};

struct SiteCheck {
  Signs signs;
  Measures measures;
  std::optional<Grade> grade;
  std::optional<std::int64_t> infiltration_grade;  ///< 0..4
  std::optional<Dressing> dressing;
  Code patency;  ///< "patent" | "sluggish" | "blocked" | "" when not said
  std::optional<FlushGiven> flush;
  Answer still_needed = Answer::kNotKnown;
  std::vector<Code>
      action;  ///< "none", "observe", "redressed", "remove-planned", "physician-told", ...
};

struct Flush {
  FlushGiven flush;  ///< member "flush"
  Code patency;
};

struct DressingChange {
  Code found;  ///< condition of the old dressing: "intact" | "loose" | "damp" | "soiled" | ""
  Code type;   ///< the new dressing
  std::string lot;
  Code skin_antiseptic;
  Answer site_cleaned = Answer::kNotKnown;
};

struct Removal {
  Code reason;  ///< "no-longer-required", "time-expired", "phlebitis", "infiltration", "occlusion",
                ///< ...
  Answer tip_complete = Answer::kNotKnown;
  Signs signs;  ///< site state at removal, member "signs"
  std::optional<Grade> grade;
  Answer bleeding_stopped = Answer::kNotKnown;
  Answer tip_to_laboratory = Answer::kNotKnown;
};

struct Retraction {
  std::string retracts;  ///< id of the event (same source) that was entered in error
  Code reason;           ///< "wrong-patient", "wrong-line", "duplicate-entry", "not-done", "other"
};

/// Order is the order of `Body`'s alternatives.
enum class Kind : std::uint8_t {
  kInsertion,
  kSiteCheck,
  kFlush,
  kDressingChange,
  kRemoval,
  kRetraction
};
using Body = std::variant<Insertion, SiteCheck, Flush, DressingChange, Removal, Retraction>;

struct Event {
  std::string id;  ///< unique within its source
  std::string source;
  Moment happened;                       ///< "happened_at", or "happened_from"
  std::optional<Moment> happened_until;  ///< only with "happened_from"
  Moment recorded_at;
  Patient patient;
  std::optional<Identifier> encounter;
  Place place;
  std::vector<StaffMember> staff;  ///< at least one; the first one did it
  std::string line_id;   ///< unique within its source; of the line meant, if none was placed
  std::string replaces;  ///< id of the event (same source) that this one corrects; or empty
  std::string note;      ///< or empty
  /// Which groups the patient belongs to and what runs through the line, by name ("neonate",
  /// "vesicant"), from this event on until another one tells; a list without names says: none.
  /// Empty optional: not told. Of insertions, site checks and flushes.
  std::optional<std::vector<Code>> patient_groups;
  std::optional<std::vector<Code>> infusions;
  Body body;

  Kind kind() const { return static_cast<Kind>(body.index()); }
};

/// "insertion", "site-check", "flush", "dressing-change", "removal", "retraction".
std::string_view KindName(Kind kind);

/// Something the contract's schema cannot express, and still wrong: an identifier whose check digit
/// fails, an end before its start, a device identifier that is broken. Same meaning of the fields
/// as schemas::Violation.
struct Problem {
  std::string pointer;
  std::string rule;
  std::string expected;
};

/// Reads a document that passed schemas::Bundled::CheckEvent(). Fails with the problems found
/// beyond the schema, at least one. `extra` is not read: it is kept with the raw event only.
Result<Event, std::vector<Problem>> ReadEvent(schemas::Value document);

}  // namespace dwell::event
