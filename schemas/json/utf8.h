// UTF-8 (RFC 3629): whether a text is, and how many characters it has.
#pragma once

#include <cstddef>
#include <optional>
#include <string_view>

namespace dwell::schemas {

/// The byte offset of the first sequence that is not UTF-8 (overlong forms, surrogates, characters
/// above U+10FFFF and cut sequences included); empty when all of it is. Fast over ASCII.
std::optional<std::size_t> FirstBadUtf8(std::string_view text);

/// How many code points a valid UTF-8 text has.
std::size_t CountCodePoints(std::string_view text);

}  // namespace dwell::schemas
