// The shape of the store file, version by version.
#pragma once

#include <cstdint>
#include <span>

namespace dwell::store {

/// Stands in the file's header (offset 68) and says that it is ours: "dwel".
inline constexpr std::uint32_t kApplicationId = 0x6477656C;

/// What changes the file from one version to the next; the first one makes it. `PRAGMA
/// user_version` holds how many of them the file has seen. A released step is never changed: add
/// another.
std::span<const char* const> MigrationSteps();

/// The version this program writes.
inline std::int64_t StoreVersion() { return static_cast<std::int64_t>(MigrationSteps().size()); }

}  // namespace dwell::store
