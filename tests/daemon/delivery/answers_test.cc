// Odd answers as bytes, read by the client that the daemon uses, and what each means for a bundle
// of two entries or for a Task on its own. A file's head has LF where CRLF goes on the wire; the
// connection is closed behind it.
#include <gmock/gmock.h>

#include <boost/asio/as_tuple.hpp>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/deferred.hpp>
#include <boost/asio/detached.hpp>
#include <boost/asio/io_context.hpp>
#include <filesystem>

#include "daemon/delivery/verdict.h"
#include "daemon/net/http_client.h"
#include "tests/daemon/delivery/golden_bundles.h"

namespace dwell::delivery {
namespace {

namespace asio = boost::asio;
using asio::ip::tcp;
using testing::HasSubstr;

constexpr Instant kNow{std::chrono::hours(492'800)};
constexpr Sent kTwo{.entries = 2, .attempts = 0};

/// What is seen of a verdict.
enum Mark : unsigned {
  kPlain = 0,
  kUncertain = 1,
  kPauses = 2,
  kTooLarge = 4,
  kAsks = 8,  ///< a Retry-After
};

struct Row {
  const char* file;
  Course course;
  unsigned marks;
  const char* why;
};

const Row kTransactions[] = {
    {"done", Course::kDone, kPlain, ""},
    {"done-http-1.0", Course::kDone, kPlain, ""},
    {"done-after-100-continue", Course::kDone, kPlain, ""},
    {"done-after-early-hints", Course::kDone, kPlain, ""},
    {"only-100-continue", Course::kAgain, kUncertain, "ended before it was complete"},
    {"100-continue-without-end", Course::kAgain, kUncertain, "not acceptable HTTP"},
    {"expectation-failed", Course::kHold, kPlain, "417"},
    {"switches-protocols", Course::kPause, kUncertain | kPauses, "101"},
    {"sign-in-page", Course::kAgain, kUncertain, "without FHIR JSON"},
    {"sign-in-page-as-json", Course::kAgain, kUncertain, "without legal JSON"},
    {"empty", Course::kAgain, kUncertain, "without legal JSON"},
    {"no-content", Course::kHold, kUncertain, "204, which does not say"},
    {"truncated", Course::kAgain, kUncertain, "ended before it was complete"},
    {"truncated-chunk", Course::kAgain, kUncertain, "ended before it was complete"},
    {"half-a-bundle", Course::kAgain, kUncertain, "without legal JSON"},
    {"xml", Course::kAgain, kUncertain, "without FHIR JSON"},
    {"no-content-type", Course::kAgain, kUncertain, "without FHIR JSON"},
    {"an-error-in-a-200", Course::kHold, kUncertain, "200, which does not say"},
    {"the-bundle-sent-back", Course::kHold, kUncertain, "200, which does not say"},
    {"an-entry-short", Course::kHold, kUncertain, "1 entries instead of 2"},
    {"an-entry-without-status", Course::kHold, kUncertain, "200, which does not say"},
    {"created", Course::kHold, kUncertain, "201, which does not say"},
    {"accepted", Course::kHold, kUncertain, "202, which does not say"},
    {"partial-content", Course::kHold, kUncertain, "206, which does not say"},
    {"multi-status", Course::kHold, kUncertain, "207, which does not say"},
    {"moved", Course::kPause, kPauses, "redirects"},
    {"to-a-sign-in", Course::kPause, kPauses, "redirects"},
    {"see-other", Course::kPause, kPauses, "redirects"},
    {"unauthorized", Course::kPause, kPauses, "credentials"},
    {"login-as-400", Course::kPause, kPauses, "400: it does not accept our credentials"},
    {"forbidden", Course::kHold, kPlain, "forbids"},
    {"forbidden-page", Course::kPause, kPauses, "forbids"},
    {"not-found", Course::kAgain, kPlain, "not found"},
    {"not-found-page", Course::kPause, kPauses, "not found"},
    {"target-missing-400", Course::kWait, kPlain, "does not have what it refers to"},
    {"target-missing-409", Course::kWait, kPlain, "does not have what it refers to"},
    {"target-missing-412", Course::kWait, kPlain, "does not have what it refers to"},
    {"target-missing-422", Course::kWait, kPlain, "does not have what it refers to"},
    {"method-not-allowed-page", Course::kPause, kPauses, "405"},
    {"request-time-out", Course::kAgain, kUncertain, "408"},
    {"conflict", Course::kAgain, kPlain, "conflict"},
    {"gone", Course::kHold, kPlain, "gone"},
    {"gone-page", Course::kPause, kPauses, "gone"},
    {"several-match", Course::kAgain, kPlain, "condition"},
    {"too-large-page", Course::kHold, kTooLarge, "too large"},
    {"too-many-entries", Course::kHold, kTooLarge, "400: it says it is too large"},
    {"too-long", Course::kHold, kTooLarge, "422: it says it is too large"},
    {"wrong-type", Course::kPause, kPauses, "application/fhir+json"},
    {"invalid", Course::kHold, kPlain, "refused"},
    {"there-already", Course::kHold, kUncertain, "there already"},
    {"locked-just-then", Course::kAgain, kPlain, "just then"},
    {"too-many-requests", Course::kAgain, kPauses | kAsks, "too many requests"},
    {"headers-too-large", Course::kPause, kPauses, "431"},
    {"failed", Course::kAgain, kPlain, "failed"},
    {"failed-page", Course::kAgain, kPlain, "failed"},
    {"not-implemented", Course::kPause, kPauses, "501"},
    {"bad-gateway", Course::kAgain, kUncertain, "gateway"},
    {"unavailable", Course::kAgain, kPlain, "unavailable"},
    {"unavailable-until", Course::kAgain, kPauses | kAsks, "unavailable"},
    {"gateway-time-out", Course::kAgain, kUncertain, "gateway"},
    {"network-sign-in", Course::kPause, kPauses, "sign-in"},
    {"no-status", Course::kHold, kUncertain, "no HTTP status"},
    {"compressed-unasked", Course::kAgain, kUncertain, "compressed"},
    {"two-lengths", Course::kAgain, kUncertain, "not acceptable HTTP"},
    {"not-http", Course::kAgain, kUncertain, "not acceptable HTTP"},
    {"nothing", Course::kAgain, kUncertain, ""},
    {"an-entry-refused", Course::kHold, kPlain, "entry 2: the endpoint answered 422"},
};

const Row kBatches[] = {
    {"batch-done", Course::kDone, kPlain, ""},
    {"done", Course::kHold, kUncertain, "200, which does not say"},
    {"an-entry-short", Course::kHold, kUncertain, "200, which does not say"},
    {"batch-an-entry-busy", Course::kAgain, kPlain, "entry 2: the endpoint answered 503"},
    {"batch-a-target-missing", Course::kWait, kPlain, "entry 2: the endpoint answered 404"},
};

const Row kSingles[] = {
    {"single-created", Course::kDone, kPlain, ""},
    {"single-updated", Course::kDone, kPlain, ""},
    {"single-refuses-our-ids", Course::kHold, kPlain, "405"},
    {"sign-in-page", Course::kAgain, kUncertain, "without FHIR JSON"},
    {"empty", Course::kAgain, kUncertain, "without anything that shows"},
    {"no-content", Course::kAgain, kUncertain, "without anything that shows"},
    {"an-error-in-a-200", Course::kHold, kUncertain, "which does not say"},
    {"accepted", Course::kHold, kUncertain, "which does not say"},
    {"method-not-allowed-page", Course::kPause, kPauses, "405"},
    {"too-large-page", Course::kHold, kTooLarge, "too large"},
};

const std::filesystem::path kFolder =
    std::string(DWELL_SOURCE_DIR) + "/tests/daemon/delivery/answers";

/// The bytes on the wire: heads of interim answers first, then the answer's, then its body as it
/// is.
std::string Wire(const std::string& file) {
  const std::string text = ReadWhole(kFolder / (file + ".http"));
  std::string wire;
  std::size_t at = 0;
  bool is_interim = true;
  while (is_interim && at < text.size()) {
    is_interim =
        text.compare(at, 10, "HTTP/1.1 1") == 0 && text.compare(at, 12, "HTTP/1.1 101") != 0;
    const std::size_t end = std::min(text.find("\n\n", at), text.size());
    for (; at < std::min(end + 2, text.size()); ++at) {
      if (text[at] == '\n') wire += '\r';
      wire += text[at];
    }
  }
  return wire + text.substr(at);
}

class AnswersTest : public testing::Test {
 protected:
  AnswersTest() : acceptor_(loop_, tcp::endpoint(asio::ip::address_v4::loopback(), 0)) {}

  net::Exchange Ask(const std::string& file) {
    net::Exchange exchange;
    asio::co_spawn(loop_, Peer(Wire(file)), asio::detached);
    asio::co_spawn(loop_, Client(exchange), asio::detached);
    loop_.restart();
    loop_.run();
    return exchange;
  }

  asio::awaitable<void> Peer(std::string answer) {
    auto [error, socket] = co_await acceptor_.async_accept(asio::as_tuple(asio::deferred));
    EXPECT_FALSE(error);
    auto made = co_await net::Serve(std::move(socket), nullptr, std::chrono::milliseconds(5000));
    const std::unique_ptr<net::Connection> connection = std::move(*made);
    std::string request;
    std::array<char, 1024> bytes{};
    while (!request.ends_with("\r\n\r\n{}")) {
      const std::span<char> room(bytes);
      const net::Io io = co_await connection->ReadSome(room);
      if (io.error) co_return;
      request.append(bytes.data(), io.bytes);
    }
    co_await connection->Write(answer);
  }

  asio::awaitable<void> Client(net::Exchange& exchange) {
    net::Origin origin;
    origin.host = "127.0.0.1";
    origin.port = std::to_string(acceptor_.local_endpoint().port());
    net::HttpClient client(origin, nullptr);
    net::Request request;
    request.method = "POST";
    request.target = "/fhir";
    request.body = "{}";
    exchange = co_await client.Send(request, std::chrono::milliseconds(5000));
  }

  static void Compare(const Row& row, const Verdict& verdict) {
    EXPECT_EQ(verdict.course, row.course) << row.file << ": " << verdict.why;
    EXPECT_EQ(verdict.uncertain, (row.marks & kUncertain) != 0) << row.file;
    EXPECT_EQ(verdict.pauses, (row.marks & kPauses) != 0) << row.file;
    EXPECT_EQ(verdict.too_large, (row.marks & kTooLarge) != 0) << row.file;
    EXPECT_EQ(verdict.retry_after.has_value(), (row.marks & kAsks) != 0) << row.file;
    EXPECT_FALSE(verdict.untouched) << row.file << ": the peer had the whole request";
    EXPECT_THAT(verdict.why, HasSubstr(row.why)) << row.file;
    EXPECT_EQ(verdict.why.empty(), row.course == Course::kDone) << row.file;
    EXPECT_THAT(verdict.why,
                testing::Not(testing::AnyOf(HasSubstr("own words"), HasSubstr("sign in"))))
        << row.file << ": what the peer wrote may be personal";
  }

  asio::io_context loop_;
  tcp::acceptor acceptor_;
};

TEST_F(AnswersTest, ToATransaction) {
  for (const Row& row : kTransactions) Compare(row, Judge(Ask(row.file), kTwo, kNow));
}

TEST_F(AnswersTest, ToABatch) {
  for (const Row& row : kBatches) {
    const net::Exchange exchange = Ask(row.file);
    const Answered answer = ReadAnswerOf(exchange);
    Verdict verdict = JudgeWhole(exchange, answer, Answered::Shape::kBatch, kTwo, kNow);
    if (verdict.course == Course::kDone && !answer.bad.empty()) {
      verdict = JudgeEntry(answer.bad.front(), kTwo);
    }
    Compare(row, verdict);
  }
}

TEST_F(AnswersTest, ToASingleInteraction) {
  for (const Row& row : kSingles) Compare(row, JudgeSingle(Ask(row.file), "Task", kTwo, kNow));
}

TEST_F(AnswersTest, EveryAnswerThatIsKeptIsJudged) {
  std::vector<std::string> kept;
  for (const auto& file : std::filesystem::directory_iterator(kFolder)) {
    kept.push_back(file.path().stem().string());
  }
  std::vector<std::string> judged;
  for (const Row& row : kTransactions) judged.emplace_back(row.file);
  for (const Row& row : kBatches) judged.emplace_back(row.file);
  for (const Row& row : kSingles) judged.emplace_back(row.file);
  for (const std::string& file : kept) EXPECT_THAT(judged, testing::Contains(file));
  EXPECT_GT(kept.size(), 60U);
}

}  // namespace
}  // namespace dwell::delivery
