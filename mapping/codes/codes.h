// Our codes, translated for the hospital record by FHIR ConceptMap files.
#pragma once

#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "schemas/base/result.h"

namespace dwell::codes {

struct Coding {
  std::string system;
  std::string code;
  std::string display;
};

/// A concept of ours with what it is called and what it is called elsewhere.
struct Concept {
  std::string text;             ///< CodeableConcept.text: never empty
  std::vector<Coding> codings;  ///< targets of the map, best first; then our own code
  bool mapped = false;          ///< whether the map has a target for it
};

/// The code maps in use. Immutable after loading; safe to share between threads.
class CodeMap {
 public:
  /// Which map to use: kFree may be given away; kLicensed adds the finer SNOMED CT codes, for those
  /// who hold a SNOMED CT licence.
  enum class Edition { kFree, kLicensed };
  /// Loads the bundled CodeSystem and ConceptMaps. Fails (ErrorKind::kConfig) with file and place.
  static Result<CodeMap> LoadBundled(Edition edition);

  /// The concept for `code` of our group `group` ("line-kind", "site", "reason", ...).
  /// A code without a map keeps our own code, and its words as text. `side` ("left" | "right" | "") picks
  /// the lateralised target of a body site.
  const Concept& Find(std::string_view group, std::string_view code, std::string_view side = "") const;

  CodeMap(CodeMap&&) noexcept;
  CodeMap& operator=(CodeMap&&) noexcept;
  ~CodeMap();

 private:
  struct Tables;
  explicit CodeMap(std::unique_ptr<Tables> tables);
  std::unique_ptr<Tables> tables_;
};

}  // namespace dwell::codes
