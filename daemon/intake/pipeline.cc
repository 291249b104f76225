#include "daemon/intake/pipeline.h"

#include <memory>
#include <optional>
#include <vector>

#include "daemon/base/limits.h"
#include "daemon/intake/answers.h"
#include "daemon/intake/examine.h"

namespace dwell::intake {
namespace {

using EventPointer = std::shared_ptr<const event::Event>;

Reply NotTaken(bool draining, Tally& tally) {
  tally.Count(EventEnd::kNotNow);
  return draining ? Refuse(503, "draining", "the same again after the daemon has started anew")
                  : Refuse(503, "busy", "the same again once the store works again");
}

/// One line of a batch: what is already said about it, or the event that waits for the ledger.
struct BatchLine {
  std::size_t number;
  EventPointer event;
  std::optional<Reply> reply;
  std::optional<EventEnd> end = std::nullopt;  ///< as far as it is known with the reply
};

struct Batch {
  std::vector<BatchLine> lines;
  std::vector<ledger::Submission> submissions;
};

bool IsBlank(std::string_view text) {
  return text.find_first_not_of(" \t\r") == std::string_view::npos;
}

/// Takes a body apart; false when it has more events than a batch may have.
bool ReadBatch(std::string_view body, const schemas::Bundled& schemas, Batch& batch) {
  std::size_t number = 0;
  while (!body.empty()) {
    ++number;
    std::string_view text = body.substr(0, body.find('\n'));
    body.remove_prefix(std::min(body.size(), text.size() + 1));
    if (!text.empty() && text.back() == '\r') text.remove_suffix(1);
    if (IsBlank(text)) continue;
    if (batch.lines.size() == limits::kBatchEventsMax) return false;
    auto examined = Examine(text, schemas);
    if (const auto* refusal = std::get_if<Refusal>(&examined)) {
      batch.lines.push_back({number, nullptr, AnswerOf(*refusal), EndOf(*refusal)});
      continue;
    }
    EventPointer event = std::get<EventPointer>(std::move(examined));
    batch.submissions.push_back({event, std::string(text)});
    batch.lines.push_back({number, std::move(event), std::nullopt});
  }
  return true;
}

/// `receipts` answer the lines that have no reply yet, in order.
Reply BatchReply(const std::vector<BatchLine>& lines,
                 const std::vector<ledger::Receipt>& receipts) {
  Reply all;
  all.content_type = kNdjson;
  auto receipt = receipts.begin();
  for (const BatchLine& line : lines) {
    if (line.reply.has_value()) {
      all.body += AnswerLine(line.number, *line.reply);
      continue;
    }
    Reply reply = AnswerOf(*line.event, *receipt++);
    // One transaction: when it failed, it failed for all.
    if (reply.status == 503) return reply;
    all.body += AnswerLine(line.number, reply);
  }
  return all;
}

}  // namespace

void Pipeline::SubmitOne(std::string body, const Replies& done) {
  if (!ready()) return done(NotTaken(draining_, *tally_));
  auto examined = Examine(body, schemas_);
  if (const auto* refusal = std::get_if<Refusal>(&examined)) {
    tally_->Count(EndOf(*refusal));
    return done(AnswerOf(*refusal));
  }
  EventPointer event = std::get<EventPointer>(std::move(examined));
  std::vector<ledger::Submission> submissions;
  submissions.push_back({event, std::move(body)});
  ledger_.Submit(std::move(submissions), [done, tally = tally_, event = std::move(event)](
                                             const std::vector<ledger::Receipt>& receipts) {
    tally->Count(EndOf(receipts.front()));
    done(AnswerOf(*event, receipts.front()));
  });
}

void Pipeline::SubmitBatch(std::string body, const Replies& done) {
  if (!ready()) return done(NotTaken(draining_, *tally_));
  auto batch = std::make_shared<Batch>();
  if (!ReadBatch(body, schemas_, *batch)) {
    tally_->Count(EventEnd::kTooLarge);
    return done(Refuse(
        413, "batch-too-large",
        "a batch of at most " + std::to_string(limits::kBatchEventsMax) + " events: split it"));
  }
  if (batch->lines.empty()) return done(Refuse(400, "required", "at least one event"));
  for (const BatchLine& line : batch->lines) {
    if (line.end) tally_->Count(*line.end);
  }
  if (batch->submissions.empty()) return done(BatchReply(batch->lines, {}));
  auto submissions = std::move(batch->submissions);
  ledger_.Submit(std::move(submissions),
                 [done, batch, tally = tally_](const std::vector<ledger::Receipt>& receipts) {
                   for (const ledger::Receipt& receipt : receipts) tally->Count(EndOf(receipt));
                   done(BatchReply(batch->lines, receipts));
                 });
}

void Pipeline::Show(std::string source, std::string id, Audience audience, const Replies& done) {
  auto reply = std::make_shared<Reply>();
  store::Job job;
  job.work = [reply, audience, source = std::move(source),
              id = std::move(id)](store::Store& store) -> Result<void> {
    const auto event = store.FindEvent(source, id);
    if (!event) return event.error();
    if (!event->has_value()) {
      *reply = Refuse(404, "not-found", "the source and id of an event that was stored");
      return {};
    }
    const auto deliveries = store.BundlesOfEvent((*event)->seq);
    if (!deliveries) return deliveries.error();
    reply->status = 200;
    const auto name_of = [&store](std::int64_t endpoint) { return store.NameOfEndpoint(endpoint); };
    reply->body = Story(**event, *deliveries, audience, name_of);
    return {};
  };
  job.done = [reply, done](const Result<void>& result) {
    done(result ? std::move(*reply) : Refuse(503, "busy", result.error().message()));
  };
  jobs_.Post(std::move(job));
}

}  // namespace dwell::intake
