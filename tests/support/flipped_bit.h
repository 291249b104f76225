// A disk that gives back another bit than it was given: in a real file, for tests.
#pragma once

#include <gtest/gtest.h>

#include <string>
#include <string_view>

#include "tests/support/temp_folder.h"

namespace dwell::test {

/// Flips one bit of the byte `offset` behind every place where `bytes` stands in the file. The
/// store must be closed, so that everything is in the file and nothing in its log.
inline void FlipBit(const std::string& path, std::string_view bytes, std::size_t offset) {
  std::string file = ReadBytes(path);
  std::size_t found = 0;
  for (std::size_t at = file.find(bytes); at != std::string::npos; at = file.find(bytes, at + 1)) {
    file[at + offset] = static_cast<char>(file[at + offset] ^ 1);
    ++found;
  }
  ASSERT_GT(found, 0u) << "these bytes do not stand in the file in one piece";
  WriteBytes(path, file);
}

}  // namespace dwell::test
