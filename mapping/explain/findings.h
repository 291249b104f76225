// What became of one field, gathered from makings with the field altered. Pure comparison.
#pragma once

#include <string>
#include <vector>

#include "mapping/explain/explain.h"
#include "mapping/explain/portrait.h"

namespace dwell::explain {

/// One making with some value of the field.
struct Variant {
  std::string value;  ///< the word or code; empty when it is neither
  bool told = true;   ///< false: only to set the others off, such as a code that no map knows
  std::vector<Portrait> portraits;
};

/// Rows of one field, each resource and element once.
class Findings {
 public:
  explicit Findings(std::string field) : field_(std::move(field)) {}

  /// Notes where `base` and a making with another value differ.
  void Compare(const std::vector<Portrait>& base, const std::vector<Portrait>& altered);

  /// Notes what `base` has and a making without the field has not. What vanishes beside something
  /// that Compare() noted, and still stands elsewhere, came from another field: a start goes with
  /// the end of a period. What only appears without the field is noted when nothing else is.
  void CompareWithout(const std::vector<Portrait>& base, const std::vector<Portrait>& without);

  /// For the elements noted so far: what is there with one value and not with every other.
  void Translate(const std::vector<Variant>& variants);

  /// Rows of the same resource together, their values in the order of `values`; without a finding
  /// one row without a resource. At the end.
  std::vector<Row> Take(const std::vector<std::string>& values);

 private:
  void CompareOne(const Portrait& base, const Portrait& altered);
  void CompareOneWithout(const Portrait& base, const std::vector<Portrait>& without);
  bool HasNeighbour(const Portrait& portrait, const Element& element) const;
  /// Without element: the resource as a whole.
  void Add(const Portrait& portrait, const Element* element, bool narrative);
  void AddTo(std::vector<Row>& rows, const Portrait& portrait, const Element* element,
             bool narrative);

  std::string field_;
  std::vector<Row> rows_;
  std::vector<Row> only_without_;
};

}  // namespace dwell::explain
