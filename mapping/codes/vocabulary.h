// Which codes there are: those of our CodeSystem, and those that a site's map adds. Internal to
// this room.
#pragma once

#include <map>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "mapping/codes/tables.h"

namespace dwell::codes {

/// Which groups have a finer form, and by which group's codes: body site by side, procedure by
/// line.
inline constexpr std::pair<std::string_view, std::string_view> kQualifiers[] = {
    {"site", "side"}, {"procedure", "line-kind"}};

/// Stands for every group: where a code of a site's own making may turn up is not known.
inline constexpr std::string_view kAnyGroup;

class Vocabulary {
 public:
  explicit Vocabulary(std::vector<OwnConcept> ours);

  /// Fails (kConfig, with `file` and place) when a target's source or qualifier is none of ours.
  Result<void> Check(const File& file, const std::vector<Target>& targets) const;
  /// The same for the map of a site, whose own codes and kinds of line are added.
  Result<void> CheckSite(const File& file, const std::vector<Target>& targets);

  /// Ours first, in the order of the file.
  const std::vector<OwnConcept>& concepts() const { return concepts_; }
  std::size_t ours() const { return ours_; }
  const OwnConcept* Find(const std::string& code) const;

 private:
  bool InGroup(const std::string& code, std::string_view group) const;
  Result<void> CheckQualifier(const File& file, const Target& target) const;
  /// Adds the code, or the group to it.
  void Add(const std::string& code, const std::string& display, std::string_view group);

  std::vector<OwnConcept> concepts_;
  std::map<std::string, std::size_t> by_code_;
  std::size_t ours_;
};

/// "left-over" becomes "left over".
std::string Words(std::string_view code);

}  // namespace dwell::codes
