#include "daemon/reconcile/reader.h"

#include <algorithm>
#include <boost/asio/as_tuple.hpp>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/use_awaitable.hpp>

#include "daemon/base/limits.h"

namespace dwell::reconcile {
namespace asio = boost::asio;
namespace {

using std::chrono::milliseconds;
constexpr auto kAwait = asio::as_tuple(asio::use_awaitable);

std::string WithoutSlash(std::string text) {
  while (text.ends_with('/')) text.pop_back();
  return text;
}

/// Whether the search is for a resource of ours, by its UUID (delivery/rewrite.h).
bool IsOurs(std::string_view search) {
  return search.find("%7Curn%3Auuid%3A") != std::string_view::npos;
}

}  // namespace

Reader::Reader(asio::io_context& loop, delivery::Route route, const delivery::Endpoint& endpoint,
               std::function<delivery::Progress()> progress, const base::Clock& clock,
               delivery::Means means)
    : loop_(loop),
      target_(WithoutSlash(route.target)),
      url_(WithoutSlash(endpoint.url)),
      progress_(std::move(progress)),
      time_max_(std::min<milliseconds>(route.attempt_time_max, limits::kReadTimeMax)),
      clock_(clock),
      means_(std::move(means)),
      credentials_(delivery::MakeCredentials(loop.get_executor(), route, clock, means_)),
      health_(std::min(endpoint.in_flight_max, limits::kReadsInFlightMax), means_.backoff),
      found_(limits::kFoundForReading, limits::kFoundMax),
      wires_(std::min(endpoint.in_flight_max, limits::kReadsInFlightMax)),
      event_(loop) {
  for (Wire& wire : wires_) {
    wire.client = std::make_unique<net::HttpClient>(route.origin, route.tls);
  }
}

void Reader::Close() {
  closed_ = true;
  credentials_.Close();
  event_.cancel();
  for (Wire& wire : wires_) wire.client->Close();
  LetGo();
}

/// Idle connections keep the loop alive.
void Reader::LetGo() {
  if (!closed_ || active_ > 0) return;
  for (Wire& wire : wires_) wire.client.reset();
}

asio::awaitable<void> Reader::Work(Run& run, Step& step) {
  co_await WaitForPause();
  if (progress_) style_ = progress_();
  const auto until = means_.steady() + limits::kReadStepTime;
  const std::size_t allowed = health_.Allowed(means_.steady());
  for (Wire& wire : wires_) {
    if (closed_ || active_ >= allowed || active_ >= run.items.size()) break;
    ++active_;
    asio::co_spawn(loop_, WorkOn(wire, run, step, until), [this](const std::exception_ptr&) {
      --active_;
      event_.cancel();
      LetGo();
    });
  }
  while (active_ > 0) {
    event_.expires_at(asio::steady_timer::time_point::max());
    co_await event_.async_wait(kAwait);
  }
  if (allowed == 0) step.waiting = "the endpoint does not answer; it is tried again";
}

/// Until the endpoint may be asked again, but not for long: whoever waits for us is told.
asio::awaitable<void> Reader::WaitForPause() {
  const auto now = means_.steady();
  if (closed_ || health_.Allowed(now) > 0) co_return;
  const auto wait = std::chrono::ceil<milliseconds>(health_.paused_until() - now);
  event_.expires_after(std::min<milliseconds>(wait, limits::kReadStepTime));
  co_await event_.async_wait(kAwait);
}

asio::awaitable<void> Reader::WorkOn(Wire& wire, Run& run, Step& step,
                                     delivery::Health::Time until) {
  while (!closed_ && !run.items.empty() && means_.steady() < until &&
         active_ <= health_.Allowed(means_.steady())) {
    Item item = std::move(run.items.front());
    run.items.pop_front();
    const bool is_done = co_await ReadOne(wire, item, run, step);
    if (!is_done) run.items.push_back(std::move(item));
  }
}

/// Whether the item was dealt with.
asio::awaitable<bool> Reader::ReadOne(Wire& wire, Item& item, Run& run, Step& step) {
  TypeRead& type = run.types[item.sent.type];
  if (type.answered == 0 && type.forbidden >= limits::kForbiddenMax) {
    ++run.tally.forbidden;
    co_return true;
  }
  const AsWritten written = WrittenBy(item.sent, style_.interaction, style_.identity);
  const std::optional<ReadBack> back = co_await Read(wire, item, written, step);
  if (!back) co_return false;
  if (back->status == kStatusForbidden) {
    ++run.tally.forbidden;
    if (type.forbidden++ == 0) Tell({ForbiddenType(item, *back)}, run, step);
    co_return true;
  }
  Compared compared;
  if (back->course == ReadBack::Course::kHeld) {
    std::optional<Compared> found = co_await CompareWith(wire, written, *back, step);
    if (!found) co_return false;
    compared = std::move(*found);
  } else if (back->course == ReadBack::Course::kAgain &&
             ++item.attempts < limits::kReadAttemptsMax) {
    co_return false;
  }
  const bool is_answered = back->course == ReadBack::Course::kHeld ||
                           back->course == ReadBack::Course::kMissing ||
                           back->course == ReadBack::Course::kSeveral;
  if (is_answered) {
    ++type.answered;
    ++run.tally.compared;
  }
  std::vector<Finding> findings = FindingsOf(item, *back, compared);
  for (Finding& finding : findings) finding.is_final = written.is_final;
  Tell(std::move(findings), run, step);
  co_return true;
}

void Reader::Tell(std::vector<Finding> findings, Run& run, Step& step) const {
  for (Finding& finding : findings) {
    run.tally.Add(finding);
    if (run.order.send && IsToBeSent(finding, run.order.overwrite)) {
      ToSend& line = run.to_send[finding.line_seq];
      line.key = finding.key;
      line.resources.push_back({finding.type + "/" + finding.id, finding.bundle_seq, false});
    }
    step.findings.push_back(std::move(finding));
  }
}

/// Empty: the endpoint as a whole cannot be asked now.
asio::awaitable<std::optional<ReadBack>> Reader::Read(Wire& wire, const Item& item,
                                                      const AsWritten& written, Step& step) {
  if (written.json.empty()) {
    ReadBack back;
    back.why = "its stored form is none of ours: it cannot be asked for";
    co_return back;
  }
  const bool is_let_in = co_await Admit(step);
  if (!is_let_in) co_return std::nullopt;
  const bool by_id = written.search.empty();
  const std::string target = by_id ? target_ + "/" + item.sent.type + "/" + item.sent.id
                                   : delivery::SearchTarget(target_, written.search);
  const net::Exchange exchange = co_await Get(wire, target);
  if (closed_ || IsTokenOld(wire, exchange.status)) co_return std::nullopt;
  ReadBack back;
  if (by_id) {
    back = JudgeRead(exchange, item.sent.type, item.sent.id, clock_.Now());
  } else {
    back = JudgeFind(exchange, written.search, clock_.Now());
  }
  if (back.course == ReadBack::Course::kPause) {
    Down(back.why, back.retry_after, step);
    co_return std::nullopt;
  }
  if (back.course == ReadBack::Course::kAgain) {
    health_.Strained(means_.steady(), means_.random());
  } else {
    health_.Succeeded();
  }
  co_return back;
}

asio::awaitable<std::optional<Compared>> Reader::CompareWith(Wire& wire, const AsWritten& written,
                                                             const ReadBack& back, Step& step) {
  const auto sent = schemas::Document::Parse(written.json);
  CHECK(sent.has_value());  // it was read out of a document
  Known known;
  while (true) {
    Compared compared = Compare(sent->root(), back.resource->root(), known, url_);
    if (compared.asks.empty()) co_return compared;
    for (const std::string& search : compared.asks) {
      Answer answer = co_await LookUp(wire, search, step);
      if (!answer) co_return std::nullopt;
      known[search] = std::move(*answer);
    }
  }
}

asio::awaitable<Reader::Answer> Reader::LookUp(Wire& wire, const std::string& search, Step& step) {
  if (const delivery::Found* const known = found_.Find(search, means_.steady())) {
    co_return known->literal;
  }
  const bool is_let_in = co_await Admit(step);
  if (!is_let_in) co_return std::nullopt;
  const std::string target = delivery::SearchTarget(target_, search);
  const net::Exchange exchange = co_await Get(wire, target);
  if (closed_ || IsTokenOld(wire, exchange.status)) co_return std::nullopt;
  const delivery::Sent nothing;
  auto judged = delivery::JudgeSearch(exchange, search, nothing, clock_.Now());
  if (judged) {
    std::string literal = judged->literal;
    found_.Put(search, std::move(*judged), means_.steady());
    co_return literal;
  }
  const delivery::Verdict& verdict = judged.error();
  const bool is_answered =
      verdict.course == delivery::Course::kHold || verdict.course == delivery::Course::kWait;
  if (is_answered) co_return std::string(IsOurs(search) ? kAmbiguous : "");
  Down(verdict.why, verdict.retry_after, step);
  co_return std::nullopt;
}

asio::awaitable<bool> Reader::Admit(Step& step) {
  const std::optional<delivery::Verdict> obstacle = co_await credentials_.Ready();
  if (closed_) co_return false;
  if (!obstacle) co_return true;
  Down(obstacle->why, obstacle->retry_after, step);
  co_return false;
}

asio::awaitable<net::Exchange> Reader::Get(Wire& wire, const std::string& target) {
  const std::string fields =
      "Accept: application/fhir+json\r\nUser-Agent: dwelld\r\n" + credentials_.field();
  wire.generation = credentials_.generation();
  net::Request request;
  request.method = "GET";
  request.target = target;
  request.fields = fields;
  co_return co_await wire.client->Send(request, time_max_);
}

/// Tells the credentials how they were received; whether the same should simply be asked again.
bool Reader::IsTokenOld(const Wire& wire, int status) {
  using delivery::Course;
  delivery::Verdict verdict;
  verdict.status = status;
  const bool is_in = status == 200 || status == 404 || status == 410;
  verdict.course = status == 401 ? Course::kPause : is_in ? Course::kDone : Course::kAgain;
  return credentials_.Weigh(verdict, wire.generation);
}

void Reader::Down(const std::string& why, std::optional<std::chrono::seconds> asked, Step& step) {
  health_.Down(means_.steady(), asked, means_.random());
  step.waiting = why;
}

}  // namespace dwell::reconcile
