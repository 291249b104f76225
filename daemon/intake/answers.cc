#include "daemon/intake/answers.h"

#include "daemon/intake/outcome.h"
#include "daemon/intake/percent.h"
#include "mapping/event/identifiers.h"
#include "schemas/json/writer.h"

namespace dwell::intake {
namespace {

/// What looks wrong about an event that is taken all the same.
std::vector<Issue> WarningsOf(const event::Event& event) {
  std::vector<Issue> warnings;
  for (const event::Doubt& doubt : event::DoubtsAbout(event.patient)) {
    warnings.push_back(IssueOf(doubt.problem));
  }
  return warnings;
}

/// Nobody may take the answer for "all is well with this line".
Issue NotDerived() {
  return {"line-damaged", "/line_id",
          "a line all of whose stored events can be read: one is damaged, so that nothing follows "
          "from this event before the damaged one is sent again or the store is put back; until "
          "then what is due for this line is not known here"};
}

/// Read off the event and the state of its line alone, so that the same event again gets the same
/// body, warnings included.
Reply Accepted(const event::Event& event, const ledger::Receipt& receipt, int status) {
  schemas::JsonWriter out;
  out.BeginObject();
  out.Member("source", event.source);
  out.Member("id", event.id);
  out.Member("received_at", FormatInstant(receipt.received_at));
  std::vector<Issue> warnings = WarningsOf(event);
  if (!receipt.is_derived) warnings.push_back(NotDerived());
  if (!warnings.empty()) {
    out.MemberRaw("outcome", OperationOutcome(warnings, Severity::kWarning));
  }
  out.EndObject();
  Reply reply;
  reply.status = status;
  reply.body = out.Take();
  if (status == 201) reply.location = LocationOf(event.source, event.id);
  return reply;
}

Reply Contradicted(const line::Contradiction& contradiction, int status) {
  return AnswerOf(Refusal{status, {IssueOf(contradiction)}});
}

}  // namespace

Reply AnswerOf(const event::Event& event, const ledger::Receipt& receipt) {
  switch (receipt.answer) {
    case ledger::Answer::kStored:
      return Accepted(event, receipt, 201);
    case ledger::Answer::kRepeated:
      return Accepted(event, receipt, 200);
    case ledger::Answer::kConflict:
      return Contradicted(receipt.contradiction, 409);
    case ledger::Answer::kContradiction:
      return Contradicted(receipt.contradiction, 422);
    case ledger::Answer::kNotNow:
      break;
  }
  return Refuse(503, "busy", receipt.why.empty() ? "the same again, later" : receipt.why);
}

Reply AnswerOf(const Refusal& refusal) {
  Reply reply;
  reply.status = refusal.status;
  reply.content_type = kFhirJson;
  reply.body = OperationOutcome(refusal.issues);
  return reply;
}

std::string AnswerLine(std::size_t line, const Reply& reply) {
  // An answer's body is one JSON object: of an accepted event its members are taken over.
  std::string text =
      "{\"line\":" + std::to_string(line) + ",\"status\":" + std::to_string(reply.status) + ",";
  if (reply.status < 300) {
    text.append(reply.body, 1);
  } else {
    text.append("\"outcome\":").append(reply.body).append("}");
  }
  text += '\n';
  return text;
}

std::string LocationOf(std::string_view source, std::string_view id) {
  return "/events/" + PercentEncode(id) + "?source=" + PercentEncode(source);
}

std::string Story(const store::EventRecord& event,
                  const std::vector<store::BundleRecord>& deliveries, Audience audience,
                  const std::function<std::string(std::int64_t endpoint)>& name_of) {
  schemas::JsonWriter out;
  out.BeginObject();
  out.Member("source", event.source);
  out.Member("id", event.id);
  out.Member("kind", event.kind);
  out.Member("line", event.line_id);
  out.Member("received_at", FormatInstant(event.received_at));
  if (event.no_longer_kept_since) {
    out.Member("no_longer_kept_since", FormatInstant(*event.no_longer_kept_since));
  }
  if (event.line_damaged_since) {
    out.Member("line_damaged_since", FormatInstant(*event.line_damaged_since));
  }
  out.Name("deliveries");
  out.BeginArray();
  for (const store::BundleRecord& delivery : deliveries) {
    out.BeginObject();
    out.MemberInteger("delivery", delivery.seq);
    const std::string endpoint = name_of(delivery.endpoint);
    if (!endpoint.empty()) out.Member("endpoint", endpoint);
    out.Member("state", store::DeliveryStateName(delivery.state));
    out.Member("made_at", FormatInstant(delivery.made_at));
    out.MemberInteger("attempts", delivery.attempts);
    if (delivery.state == store::DeliveryState::kReady && delivery.not_before > delivery.made_at) {
      out.Member("not_before", FormatInstant(delivery.not_before));
    }
    if (delivery.settled_at) out.Member("settled_at", FormatInstant(*delivery.settled_at));
    if (delivery.uncertain) out.MemberBool("uncertain", true);
    if (!delivery.why.empty()) out.Member("why", delivery.why);
    if (!delivery.kept) out.MemberBool("kept", false);
    WriteDecisions(out, delivery.decisions, audience);
    out.EndObject();
  }
  out.EndArray();
  out.EndObject();
  return out.Take();
}

void WriteDecisions(schemas::JsonWriter& out, const std::vector<store::DecisionRecord>& decisions,
                    Audience audience) {
  if (decisions.empty()) return;
  out.Name("decisions");
  out.BeginArray();
  for (const store::DecisionRecord& decision : decisions) {
    out.BeginObject();
    out.MemberInteger("delivery", decision.bundle_seq);
    out.Member("decision", store::ActName(decision.act));
    out.Member("at", FormatInstant(decision.at));
    if (audience == Audience::kOperator) {
      out.Member("by", decision.by);
      out.Member("why", decision.why);
      out.Member("was", decision.former_why);
      out.MemberInteger("attempts", decision.former_attempts);
      if (decision.made_again_as != 0) out.MemberInteger("made_again_as", decision.made_again_as);
    }
    out.EndObject();
  }
  out.EndArray();
}

}  // namespace dwell::intake
