// What a person orders about deliveries on hold: read from a request, and told of. Pure.
#pragma once

#include <span>
#include <string>

#include "daemon/ledger/ledger.h"
#include "schemas/json/document.h"
#include "schemas/json/writer.h"

namespace dwell::admin {

/// The order in a "release" or "cancel" request, or what is wrong with it, in words for a person.
/// `by` and `why` must be there: not blank, at most limits::kDecidedByBytesMax and
/// kDecisionWhyBytesMax bytes, without control characters (C0, DEL and C1) and without what turns
/// the direction of text or breaks lines (U+2028 to U+202E, U+2066 to U+2069): they are shown on
/// terminals for years. So must either a target or, to release, all_of.
Result<ledger::Order, std::string> ReadOrder(schemas::Value request);

/// What is wrong with who decides and why, by the rules above; empty when nothing is.
std::string FaultOfDecision(const std::string& by, const std::string& why);

/// One JSON object with its line end: {"delivery","state","decision"} and, where there are any,
/// "made_again_as", "with_it", "not_issued"; or {"delivery","refusal"}.
std::string DecidedRow(const ledger::Decided& decided);

/// A member with a list of deliveries, unless it is empty.
void WriteNumbers(schemas::JsonWriter& out, std::string_view name,
                  std::span<const std::int64_t> numbers);

}  // namespace dwell::admin
