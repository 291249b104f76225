// The values of `format` and `pattern` that our schemas may use, each with a matcher written by
// hand.
#pragma once

#include <string_view>

namespace dwell::schemas {

/// One check of a text. For numbers the text is the number as written.
struct Format {
  std::string_view name;  ///< of the format; or the exact text of the pattern
  bool of_numbers;        ///< false: applies to strings; other kinds are left alone
  bool (*matches)(std::string_view text);
  std::string_view expected;  ///< for people
};

/// The format of that name, or null.
const Format* FindFormat(std::string_view name);

/// The matcher of the pattern with exactly this text, or null.
const Format* FindPattern(std::string_view pattern);

}  // namespace dwell::schemas
