// What was expected, in words, for violations. Speaks of the schema only, never of the value.
// Inside schemas/ only.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "schemas/compiled.h"

namespace dwell::schemas {

std::string DescribeTypes(std::uint8_t types);                          ///< "string or null"
std::string DescribeTexts(const std::vector<std::string_view>& texts);  ///< "one of: a, b"
std::string DescribeValues(const std::vector<Value>& values);           ///< of an enum
std::string DescribeTargets(
    const std::vector<std::string>& references);  ///< "a reference to: A, B"
std::string DescribeChoice(const ObjectRule& rule, const Choice& choice, std::size_t present);

}  // namespace dwell::schemas
