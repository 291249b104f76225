// Why some fields change no resource: the only part of the explanation that is written by hand. A
// test holds that it names exactly those fields.
#pragma once

#include <string>
#include <string_view>

namespace dwell::explain {

/// Why the field of that kind of event changes no resource. A field that nobody wrote a reason for
/// gets "no resource shows it".
std::string WhyNowhere(std::string_view kind, std::string_view field);

}  // namespace dwell::explain
