// The version of both programs.
#pragma once

#include <string_view>

namespace dwell::config {

inline constexpr std::string_view kVersion = DWELL_VERSION;

}  // namespace dwell::config
