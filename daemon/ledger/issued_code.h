// What was last issued of a line, as the bytes that are stored with it.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "mapping/fhir/bundle.h"

namespace dwell::ledger {

/// A format byte, then for each: type and id (length byte, text), fingerprint (8 bytes, low first),
/// version (4 bytes, low first).
std::string EncodeIssued(const std::vector<fhir::Issued>& issued);

/// Empty when the bytes are not of that form.
std::optional<std::vector<fhir::Issued>> DecodeIssued(std::string_view bytes);

}  // namespace dwell::ledger
