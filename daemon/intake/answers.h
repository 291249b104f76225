// The texts of answers about events. Pure.
#pragma once

#include <functional>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/intake/examine.h"
#include "daemon/intake/reply.h"
#include "daemon/ledger/ledger.h"
#include "daemon/store/store.h"
#include "schemas/json/writer.h"

namespace dwell::intake {

/// The answer to one submitted event, by what the ledger said. An event that was taken and looks
/// wrong has an OperationOutcome of warnings as the member "outcome", and so has one from which
/// nothing follows while its line is damaged.
Reply AnswerOf(const event::Event& event, const ledger::Receipt& receipt);

/// The answer to an event that never reached the ledger.
Reply AnswerOf(const Refusal& refusal);

/// One line of a batch's answer, with its line end: `reply` is what the event alone would have got.
std::string AnswerLine(std::size_t line, const Reply& reply);

/// "/events/{id}?source={source}", encoded.
std::string LocationOf(std::string_view source, std::string_view id);

/// Who asks what became of an event: a ward system is not told which operator decided what, and
/// why.
enum class Audience : std::uint8_t { kWard, kOperator };

/// What became of an event, as JSON. `event` comes from Store::FindEvent(). `name_of` gives an
/// endpoint's name; empty: there is only one.
std::string Story(const store::EventRecord& event,
                  const std::vector<store::BundleRecord>& deliveries, Audience audience,
                  const std::function<std::string(std::int64_t endpoint)>& name_of);

/// Writes the member "decisions" of a delivery, oldest first, if there are any:
/// [{"delivery","decision","at","by","why","was","attempts","made_again_as"}]; `was` is why it was
/// on hold, `attempts` how many it had then. A ward is not told by whom and why.
void WriteDecisions(schemas::JsonWriter& out, const std::vector<store::DecisionRecord>& decisions,
                    Audience audience);

}  // namespace dwell::intake
