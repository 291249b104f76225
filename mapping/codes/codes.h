// Our codes, translated for the hospital record by FHIR ConceptMap files.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "schemas/base/result.h"

namespace dwell::codes {

/// Canonical of our own CodeSystem (bundled file line-care.codesystem.json). The top-level domain
/// "example" can belong to nobody (RFC 2606).
inline constexpr std::string_view kOurSystem = "https://dwelld.example/fhir/CodeSystem/line-care";

/// A file as it was handed over: name (for messages) and text.
using File = std::pair<std::string_view, std::string_view>;

struct Coding {
  std::string system;
  std::string code;
  std::string display;  ///< empty for a code of ours that the CodeSystem does not know
  friend bool operator==(const Coding&, const Coding&) = default;
};

/// A concept of ours with what it is called and what it is called elsewhere.
struct Concept {
  std::string text;  ///< CodeableConcept.text: never empty
  /// Targets of the map, best first; then our own code, unless the best target says the same
  /// (equivalence "equal" or "equivalent"): beside such a one it tells a reader nothing more.
  std::vector<Coding> codings;
  bool mapped = false;  ///< whether the map has a target for it
  /// `codings` as finished JSON text "[{...},...]", to be written as CodeableConcept.coding.
  std::string coding_json;
  /// The CodeableConcept as finished JSON text: {"coding":[...],"text":"..."}.
  std::string concept_json;
  /// What else the concept stands for, each as finished JSON text of codings: the alcohol in a
  /// skin antiseptic of two agents. They become CodeableConcepts beside it with the same text.
  std::vector<std::string> also_json;
};

/// What Find() gives: used like a pointer, never null. Holds the concept itself when it had to be
/// made for this call (an unknown code), so that it needs neither a lock nor a cache.
class Found {
 public:
  explicit Found(const Concept* known) : known_(known) {}
  explicit Found(Concept made) : made_(std::move(made)) {}
  const Concept& operator*() const { return known_ != nullptr ? *known_ : *made_; }
  const Concept* operator->() const { return &**this; }

 private:
  const Concept* known_ = nullptr;
  std::optional<Concept> made_;
};

/// A code of our CodeSystem in one of its groups.
struct OwnCode {
  std::string_view group, code;
  const Concept* what;  ///< without qualifier
};

/// The code maps in use. Immutable after loading; safe to share between threads.
class CodeMap {
 public:
  /// Which map to use: kFree may be given away; kLicensed adds the finer SNOMED CT codes, for those
  /// who hold a SNOMED CT licence.
  enum class Edition : std::uint8_t { kFree, kLicensed };
  /// Loads the bundled CodeSystem and ConceptMaps, and over them a site's own map, if there is one.
  /// Fails (ErrorKind::kConfig) with file and place.
  static Result<CodeMap> LoadBundled(Edition edition, const std::optional<File>& site = {});
  /// The same from texts: the CodeSystem and the maps, each laid over the ones before it, the
  /// site's last. What a map says of a code goes, for the target system it says it of, before
  /// everything that earlier maps say of that code; "unmatched" takes their targets away. Only the
  /// site's map may translate codes that the CodeSystem does not have (a ward source may send codes
  /// of its own making): their words are the map's display, and they count in every group.
  static Result<CodeMap> Load(const File& code_system, std::span<const File> maps,
                              const std::optional<File>& site = {});

  /// The concept for `code` of our group `group` ("line-kind", "site", "reason", ...: the property
  /// "group" of the CodeSystem). `qualifier` picks a finer target and the words: the side ("left",
  /// "right") of a body site, the kind of line of a procedure; "" or an unknown one picks none.
  /// A code without a map keeps our own code, and its words as text; one that the group does not
  /// know gets its words from the code ("left-over" becomes "left over").
  /// Known codes cost no allocation. An empty code is a bug of the caller.
  Found Find(std::string_view group, std::string_view code, std::string_view qualifier = "") const;

  /// Whether our CodeSystem has the code in that group, or the site's map translates it.
  bool Knows(std::string_view group, std::string_view code) const;

  /// Everything of our CodeSystem, by group and code. Those whose concept is not `mapped` go out
  /// as our own code and words.
  std::vector<OwnCode> OwnCodes() const;

  /// Codes that only the site's map has, in its order. Their group is empty, because they count in
  /// every one; that of a kind of line that merely qualifies procedures is "line-kind".
  const std::vector<OwnCode>& SiteCodes() const;

  /// Over everything the maps say: another value means that resources may come out otherwise.
  std::uint64_t fingerprint() const;

  CodeMap(CodeMap&&) noexcept;
  CodeMap& operator=(CodeMap&&) noexcept;
  ~CodeMap();

 private:
  struct Tables;
  explicit CodeMap(std::unique_ptr<Tables> tables);
  std::unique_ptr<Tables> tables_;
};

/// The bundled files of this folder.
std::span<const File> BundledFiles();

}  // namespace dwell::codes
