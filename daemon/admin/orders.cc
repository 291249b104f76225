#include "daemon/admin/orders.h"

#include <array>

#include "daemon/admin/request.h"
#include "daemon/base/limits.h"
#include "schemas/json/writer.h"

namespace dwell::admin {
namespace {

/// In UTF-8, which the request was checked to be: C1 is C2 80 to C2 9F; U+2028 to U+202E are
/// E2 80 A8 to E2 80 AE; U+2066 to U+2069 are E2 81 A6 to E2 81 A9.
bool SteersTerminals(std::string_view text) {
  const auto byte = [text](std::size_t at) {
    return at < text.size() ? static_cast<unsigned char>(text[at]) : 0U;
  };
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (byte(i) < 0x20 || byte(i) == 0x7F) return true;
    if (byte(i) == 0xC2 && byte(i + 1) >= 0x80 && byte(i + 1) <= 0x9F) return true;
    if (byte(i) != 0xE2) continue;
    const unsigned int last = byte(i + 2);
    if (byte(i + 1) == 0x80 && last >= 0xA8 && last <= 0xAE) return true;
    if (byte(i + 1) == 0x81 && last >= 0xA6 && last <= 0xA9) return true;
  }
  return false;
}

/// What is wrong with a text that a person must give; empty when nothing is.
std::string FaultOf(std::string_view what, std::string_view text, std::size_t bytes_max) {
  const std::string words(what);
  if (text.find_first_not_of(' ') == std::string_view::npos) return words + " is missing";
  if (text.size() > bytes_max) {
    return words + " is longer than " + std::to_string(bytes_max) + " bytes";
  }
  if (SteersTerminals(text)) return words + " has control characters";
  return {};
}

}  // namespace

void WriteNumbers(schemas::JsonWriter& out, std::string_view name,
                  std::span<const std::int64_t> numbers) {
  if (numbers.empty()) return;
  out.Name(name);
  out.BeginArray();
  for (const std::int64_t number : numbers) out.Integer(number);
  out.EndArray();
}

std::string FaultOfDecision(const std::string& by, const std::string& why) {
  const std::string fault = FaultOf("who decides (--by)", by, limits::kDecidedByBytesMax);
  return fault.empty() ? FaultOf("why (--why)", why, limits::kDecisionWhyBytesMax) : fault;
}

Result<ledger::Order, std::string> ReadOrder(schemas::Value request) {
  ledger::Order order;
  const bool cancels = TextOf(request, "request") == "cancel";
  order.act = cancels ? store::Act::kCancelled : store::Act::kReleased;
  order.by = TextOf(request, "by");
  order.why = TextOf(request, "why");
  order.target = TextOf(request, "target");
  order.source = TextOf(request, "source");
  order.all_of = TextOf(request, "all_of");
  const std::string fault = FaultOfDecision(order.by, order.why);
  if (!fault.empty()) return fault;
  if (cancels && !order.all_of.empty()) return std::string("deliveries are cancelled one by one");
  if (order.target.empty() == order.all_of.empty()) {
    return std::string(cancels ? "the number of a delivery is expected"
                               : "a delivery or event is expected, or else a reason (--all-of)");
  }
  return order;
}

std::string DecidedRow(const ledger::Decided& decided) {
  schemas::JsonWriter out;
  out.BeginObject();
  out.MemberInteger("delivery", decided.bundle_seq);
  if (!decided.endpoint.empty()) out.Member("endpoint", decided.endpoint);
  if (!decided.refusal.empty()) {
    out.Member("refusal", decided.refusal);
  } else {
    const bool stays = decided.act == store::Act::kReleased;
    out.Member("state", store::DeliveryStateName(stays ? store::DeliveryState::kReady
                                                       : store::DeliveryState::kCancelled));
    out.Member("decision", store::ActName(decided.act));
    if (decided.made_again_as != 0) out.MemberInteger("made_again_as", decided.made_again_as);
    WriteNumbers(out, "with_it", decided.with_it);
    if (!decided.forgotten.empty()) {
      out.Name("not_issued");
      out.BeginArray();
      for (const std::string& name : decided.forgotten) out.String(name);
      out.EndArray();
    }
  }
  out.EndObject();
  return out.Take() + "\n";
}

}  // namespace dwell::admin
