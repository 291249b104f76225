// Identity of what we make: name-based UUIDs, and fingerprints that tell whether anything changed.
#pragma once

#include <array>
#include <cstdint>
#include <string>
#include <string_view>

namespace dwell::fhir {

using UuidBytes = std::array<unsigned char, 16>;

/// Namespaces of RFC 4122, appendix C.
inline constexpr UuidBytes kDnsNamespace = {0x6b, 0xa7, 0xb8, 0x10, 0x9d, 0xad, 0x11, 0xd1,
                                            0x80, 0xb4, 0x00, 0xc0, 0x4f, 0xd4, 0x30, 0xc8};
inline constexpr UuidBytes kUrlNamespace = {0x6b, 0xa7, 0xb8, 0x11, 0x9d, 0xad, 0x11, 0xd1,
                                            0x80, 0xb4, 0x00, 0xc0, 0x4f, 0xd4, 0x30, 0xc8};

/// A name-based UUID, version 5 (RFC 4122 section 4.3, SHA-1).
UuidBytes Uuid5(const UuidBytes& name_space, std::string_view name);

/// 8-4-4-4-12 lower-case hexadecimal digits.
std::string FormatUuid(const UuidBytes& uuid);

/// Collects what a resource is made from into 64 bits. The parts are kept apart: "ab","c" differs
/// from "a","bc". Not for hostile input: everything in it comes from checked events of one line.
class Fingerprint {
 public:
  Fingerprint& Add(std::string_view text);
  Fingerprint& Add(std::uint64_t number);
  std::uint64_t value() const { return state_; }

 private:
  std::uint64_t state_ = 0xcbf29ce484222325U;
};

}  // namespace dwell::fhir
