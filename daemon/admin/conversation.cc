#include "daemon/admin/conversation.h"

#include <algorithm>
#include <array>
#include <vector>

#include "daemon/admin/orders.h"
#include "daemon/admin/reconcile_rows.h"
#include "daemon/admin/remap_rows.h"
#include "daemon/admin/request.h"
#include "daemon/admin/rows.h"
#include "daemon/admin/store_work.h"
#include "daemon/base/limits.h"
#include "daemon/intake/answers.h"
#include "daemon/net/await.h"

namespace dwell::admin {
namespace {

namespace asio = net::asio;

constexpr schemas::ParseLimits kRequestLimits{
    .bytes_max = limits::kAdminLineBytesMax, .depth_max = 2, .values_max = 16};

using Rulings = std::function<void(Result<ledger::Ruling>)>;
using Steps = std::function<void(reconcile::Step)>;
using Follows = std::function<void(Followed)>;
using RemapPages = std::function<void(Result<ledger::RemapPage>)>;

/// What a refusal says, for a person: the texts of its issues.
std::string WordsOf(const intake::Reply& reply) {
  std::string words;
  const auto document = schemas::Document::Parse(reply.body);
  const auto issues = document ? document->root().Find("issue") : std::nullopt;
  if (!issues) return "status " + std::to_string(reply.status);
  for (const schemas::Value issue : *issues) {
    const auto details = issue.Find("details");
    const auto text = details ? details->Find("text") : std::nullopt;
    if (!text) continue;
    if (!words.empty()) words += "; ";
    words += text->AsString();
  }
  return words;
}

/// What the store counts, and the part of the status that it knows.
struct Counted {
  store::Counts counts;
  State state;
};

Result<Counted> CountAll(store::Store& store) {
  auto counts = store.Count();
  if (!counts) return counts.error();
  auto unknown = store.ListUnknownCodes();
  if (!unknown) return unknown.error();
  auto doubtful = store.ListDoubtfulIdentifiers();
  if (!doubtful) return doubtful.error();
  auto pages = store.CountPages();
  if (!pages) return pages.error();
  const auto damaged = store.DamagedLines(limits::kListingRowsMax);
  if (!damaged) return damaged.error();
  Counted counted{*counts, {}};
  counted.state.known = store.endpoints();
  counted.state.sources = store.sources();
  counted.state.pages = *pages;
  counted.state.damaged_lines = damaged->size();
  counted.state.unknown_codes = std::move(*unknown);
  counted.state.doubtful_identifiers = std::move(*doubtful);
  return counted;
}

struct QueuePage {
  std::vector<store::QueueRow> rows;
  std::vector<store::EndpointRecord> known;
};

Result<QueuePage> ReadQueue(store::Store& store, std::int64_t after) {
  auto rows = store.ListQueue(after, limits::kListingRowsMax);
  if (!rows) return rows.error();
  return QueuePage{std::move(*rows), store.endpoints()};
}

/// Endpoints are named where there is more than one.
std::string QueueRows(const QueuePage& page, const std::vector<EndpointState>& configured) {
  std::string text;
  for (const store::QueueRow& row : page.rows) {
    const auto at = static_cast<std::size_t>(row.endpoint);
    if (page.known.size() < 2 || at >= page.known.size()) {
      text += QueueRowText(row);
      continue;
    }
    const std::string& name = page.known[at].name;
    const bool is_configured = std::ranges::count(configured, name, &EndpointState::name) != 0;
    text += QueueRowText(row, name, is_configured);
  }
  return text;
}

/// The sources that use this id.
asio::awaitable<Result<std::vector<std::string>>> SourcesOf(store::Writer& writer, std::string id) {
  std::function<Result<std::vector<store::EventRecord>>(store::Store&)> work =
      [id = std::move(id)](store::Store& store) { return store.FindEvents(id); };
  const auto events = co_await OnStore(writer, std::move(work));
  if (!events) co_return events.error();
  std::vector<std::string> sources;
  for (const auto& event : *events) sources.push_back(event.source);
  co_return sources;
}

}  // namespace

struct Conversation::Row {
  std::string_view request;
  Answerer answer;
};

asio::awaitable<void> Conversation::Run() {
  while (true) {
    connection_.Deadline(limits::kIdleTimeMax);
    const auto line = co_await ReadLine();
    if (!line) break;
    const bool written = co_await Answer(*line);
    if (!written) break;
  }
  connection_.Close();
}

asio::awaitable<std::optional<std::string>> Conversation::ReadLine() {
  std::size_t seen = 0;
  std::array<char, 16 * limits::kKiB> chunk;
  while (true) {
    const std::size_t end = received_.find('\n', seen);
    if (end != std::string::npos) {
      std::string line = received_.substr(0, end);
      received_.erase(0, end + 1);
      co_return line;
    }
    seen = received_.size();
    if (seen > limits::kAdminLineBytesMax) co_return std::nullopt;
    const net::Io io = co_await connection_.ReadSome(chunk);
    received_.append(chunk.data(), io.bytes);
    if (io.error) co_return std::nullopt;
  }
}

asio::awaitable<bool> Conversation::Send(std::string text) {
  connection_.Deadline(limits::kRequestTimeMax);
  const net::Io io = co_await connection_.Write(text);
  co_return !io.error;
}

asio::awaitable<bool> Conversation::Answer(const std::string& line) {
  static constexpr Row kRows[] = {
      {"status", &Conversation::Status},       {"queue", &Conversation::Queue},
      {"lines", &Conversation::Lines},         {"show", &Conversation::Show},
      {"submit", &Conversation::Submit},       {"release", &Conversation::Decide},
      {"cancel", &Conversation::Decide},       {"remap", &Conversation::Remap},
      {"reconcile", &Conversation::Reconcile}, {"reload", &Conversation::Reload},
  };
  std::string error =
      "one of the requests status, queue, lines, show, submit, release, cancel, remap, "
      "reconcile, reload is expected";
  const auto document = schemas::Document::Parse(line, kRequestLimits);
  if (!document || !document->root().is_object()) {
    error = "a JSON object on one line is expected";
  } else {
    const std::string request = TextOf(document->root(), "request");
    for (const Row& row : kRows) {
      if (row.request == request) error = co_await (this->*row.answer)(document->root());
    }
  }
  std::string end = EndRow(error);
  co_return co_await Send(std::move(end));
}

asio::awaitable<std::string> Conversation::Status(schemas::Value /*request*/) {
  std::function<Result<Counted>(store::Store&)> count = CountAll;
  auto counted = co_await OnStore(*services_.writer, std::move(count));
  if (!counted) co_return counted.error().message();
  State state = std::move(counted->state);
  // Those that a later map learned are history.
  std::erase_if(state.unknown_codes, [this](const store::UnknownCodeRecord& row) {
    return !row.code.empty() && services_.knows(row.group, row.code);
  });
  state.now = services_.clock->Now();
  state.zone = services_.zone;
  state.silent_after = services_.silent_after;
  state.wall_ahead = services_.clock->wall_ahead();
  state.draining = services_.pipeline->draining();
  state.endpoints = services_.endpoints();
  state.caught_up_to = services_.caught_up_to();
  state.cleaned_up = services_.cleaned_up();
  state.in_force = services_.in_force();
  if (services_.reconciler != nullptr) state.reconciled = services_.reconciler->last();
  std::string row = StatusRow(counted->counts, state);
  co_await Send(std::move(row));
  co_return std::string();
}

asio::awaitable<std::string> Conversation::Queue(schemas::Value /*request*/) {
  std::int64_t after = 0;
  while (true) {
    std::function<Result<QueuePage>(store::Store&)> work = [after](store::Store& store) {
      return ReadQueue(store, after);
    };
    const auto page = co_await OnStore(*services_.writer, std::move(work));
    if (!page) co_return page.error().message();
    std::string text = QueueRows(*page, services_.endpoints());
    const bool written = co_await Send(std::move(text));
    if (!written || page->rows.size() < limits::kListingRowsMax) co_return std::string();
    after = page->rows.back().bundle_seq;
  }
}

asio::awaitable<std::string> Conversation::Lines(schemas::Value /*request*/) {
  std::int64_t after = 0;
  while (true) {
    std::function<Result<std::vector<store::LineRecord>>(store::Store&)> work =
        [after](store::Store& store) { return store.ListLines(after, limits::kListingRowsMax); };
    const auto page = co_await OnStore(*services_.writer, std::move(work));
    if (!page) co_return page.error().message();
    std::string text;
    for (const auto& line : *page) text += LineRow(line);
    const bool written = co_await Send(std::move(text));
    if (!written || page->size() < limits::kListingRowsMax) co_return std::string();
    after = page->back().seq;
  }
}

asio::awaitable<std::string> Conversation::Show(schemas::Value request) {
  const std::string id = TextOf(request, "id");
  if (id.empty()) co_return std::string("the id of an event is expected");
  std::vector<std::string> sources{TextOf(request, "source")};
  if (sources.front().empty()) {
    auto all = co_await SourcesOf(*services_.writer, id);
    if (!all) co_return all.error().message();
    sources = std::move(*all);
  }
  std::string found;
  std::size_t count = 0;
  for (const std::string& candidate : sources) {
    std::function<void(const intake::Replies&)> ask = [&](const intake::Replies& done) {
      services_.pipeline->Show(candidate, id, intake::Audience::kOperator, done);
    };
    const intake::Reply reply = co_await net::Await(std::move(ask));
    if (reply.status == 404) continue;
    if (reply.status != 200) co_return WordsOf(reply);
    found += reply.body + "\n";
    ++count;
  }
  if (count == 0) co_return std::string("no such event is stored");
  co_await Send(std::move(found));
  if (count > 1) co_return std::string("several sources use this id: say which source is meant");
  co_return std::string();
}

asio::awaitable<std::string> Conversation::Decide(schemas::Value request) {
  auto order = ReadOrder(request);
  if (!order) co_return order.error();
  while (true) {
    std::function<void(const Rulings&)> ask = [&](const Rulings& done) {
      services_.ledger->Decide(*order, done);
    };
    const Result<ledger::Ruling> ruling = co_await net::Await(std::move(ask));
    if (!ruling) co_return ruling.error().message();
    if (!ruling->refusal.empty()) co_return ruling->refusal;
    std::string text;
    for (const ledger::Decided& decided : ruling->decided) text += DecidedRow(decided);
    const bool written = co_await Send(std::move(text));
    if (!written || !ruling->more) co_return std::string();
    order->after = ruling->decided.back().bundle_seq;
  }
}

asio::awaitable<std::string> Conversation::Remap(schemas::Value request) {
  auto order = ReadRemapOrder(request);
  if (!order) co_return order.error();
  RemapSums sums;
  while (true) {
    std::function<void(const RemapPages&)> ask = [&](const RemapPages& done) {
      services_.ledger->Remap(*order, done);
    };
    const Result<ledger::RemapPage> page = co_await net::Await(std::move(ask));
    if (!page) co_return page.error().message();
    sums.Add(*page);
    std::string text = RemapPageRows(*page, sums);
    if (!page->more) text += RemapSumsRow(sums);
    const bool written = co_await Send(std::move(text));
    if (!written) co_return std::string();
    if (!page->refusal.empty()) {
      co_return "stopped, " + page->refusal + "; what was done stays done, repeat it for the rest";
    }
    if (!page->more) co_return std::string();
    order->after = page->after;
  }
}

asio::awaitable<std::string> Conversation::Reconcile(schemas::Value request) {
  const std::vector<std::string> names = services_.reconciler->endpoints();
  auto order = ReadReconcileOrder(request, services_.clock->Now(), names);
  if (!order) co_return order.error();
  const std::string endpoint = names.size() > 1 ? order->endpoint : "";
  const std::shared_ptr<reconcile::Run> run = services_.reconciler->Begin(std::move(*order));
  if (run == nullptr) co_return std::string("another reconciliation is running; try again later");
  while (true) {
    std::function<void(const Steps&)> ask = [&](const Steps& done) {
      services_.reconciler->Next(run, done);
    };
    const reconcile::Step step = co_await net::Await<reconcile::Step>(std::move(ask));
    std::string text = ReconcileRows(step, endpoint);
    const bool written = co_await Send(std::move(text));
    if (!written || step.done) co_return std::string();
    if (!step.refusal.empty()) {
      co_return "stopped, " + step.refusal + "; what was sent goes out, repeat it for the rest";
    }
  }
}

asio::awaitable<std::string> Conversation::Reload(schemas::Value request) {
  const std::string by = TextOf(request, "by");
  const std::string why = TextOf(request, "why");
  std::string fault = FaultOfDecision(by, why);
  if (!fault.empty()) co_return fault;
  using Rows = std::function<void(Result<std::string>)>;
  std::function<void(const Rows&)> ask = [&](const Rows& done) { services_.reload(by, why, done); };
  const Result<std::string> in_force = co_await net::Await<Result<std::string>>(std::move(ask));
  if (!in_force) co_return in_force.error().message();
  std::string text = *in_force + "\n";
  bool written = co_await Send(std::move(text));
  // Whoever goes away does not stop it.
  for (bool over = false; written && !over;) {
    std::function<void(const Follows&)> next = [this](const Follows& told) {
      services_.next_followed(told);
    };
    const Followed followed = co_await net::Await<Followed>(std::move(next));
    over = followed.over;
    std::string row = FollowedRow(followed);
    written = co_await Send(std::move(row));
  }
  co_return std::string();
}

asio::awaitable<std::string> Conversation::Submit(schemas::Value request) {
  const std::string body = TextOf(request, "body");
  const bool batch = TextOf(request, "format") == "ndjson";
  std::function<void(const intake::Replies&)> ask = [&](const intake::Replies& done) {
    batch ? services_.pipeline->SubmitBatch(body, done) : services_.pipeline->SubmitOne(body, done);
  };
  const intake::Reply reply = co_await net::Await(std::move(ask));
  if (batch && reply.status != 200) co_return WordsOf(reply);
  std::string text = batch ? reply.body : intake::AnswerLine(1, reply);
  co_await Send(std::move(text));
  co_return std::string();
}

}  // namespace dwell::admin
