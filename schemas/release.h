// The releases of FHIR that we can write.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string_view>

namespace dwell {

enum class FhirRelease : std::uint8_t { kR4, kR4B, kR5 };

/// As FHIR names it (CapabilityStatement.fhirVersion): "4.0.1", "4.3.0" or "5.0.0".
constexpr std::string_view FhirVersion(FhirRelease release) {
  constexpr std::string_view kVersions[] = {"4.0.1", "4.3.0", "5.0.0"};
  return kVersions[static_cast<std::size_t>(release)];
}

/// The release of that version; empty for one that we do not write.
constexpr std::optional<FhirRelease> FhirReleaseOf(std::string_view version) {
  for (const auto release : {FhirRelease::kR4, FhirRelease::kR4B, FhirRelease::kR5}) {
    if (FhirVersion(release) == version) return release;
  }
  return std::nullopt;
}

}  // namespace dwell
