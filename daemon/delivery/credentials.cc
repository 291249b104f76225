#include "daemon/delivery/credentials.h"

namespace dwell::delivery {
namespace {

/// The token file is looked at once in this time.
constexpr std::chrono::milliseconds kFileLook{1'000};

}  // namespace

Credentials::Credentials(TokenFile file, std::unique_ptr<TokenClient> tokens,
                         std::function<TokenState::Time()> steady)
    : file_(std::move(file)), tokens_(std::move(tokens)), steady_(std::move(steady)) {}

boost::asio::awaitable<std::optional<Verdict>> Credentials::Ready() {
  if (tokens_) co_return co_await tokens_->Ready();
  const auto now = steady_();
  if (now - looked_ >= kFileLook) {
    looked_ = now;
    LookAtFile();
  }
  co_return std::nullopt;
}

const std::string& Credentials::field() const {
  return tokens_ ? tokens_->state().field() : file_.field();
}

std::uint64_t Credentials::generation() const {
  return tokens_ ? tokens_->state().generation() : file_generation_;
}

void Credentials::LookAtFile() {
  if (file_.Refresh()) ++file_generation_;
}

bool Credentials::Weigh(Verdict& verdict, std::uint64_t generation) {
  const bool is_refused = verdict.status == 401 && verdict.course == Course::kPause;
  if (!is_refused) {
    // Who answers these has looked at the bundle. A failure may come from before the door.
    const bool is_in = verdict.course == Course::kDone || verdict.course == Course::kHold ||
                       verdict.course == Course::kWait;
    if (tokens_ && is_in) tokens_->state().Accepted(generation);
    return false;
  }
  bool goes_again = false;
  if (tokens_) {
    goes_again = tokens_->state().Refused(generation);
  } else {
    LookAtFile();
    goes_again = generation != file_generation_;
  }
  if (!goes_again) return false;
  verdict.untouched = true;
  verdict.pauses = false;
  verdict.retry_after.reset();
  return true;
}

std::optional<std::chrono::seconds> Credentials::clock_ahead() const {
  if (!tokens_) return std::nullopt;
  return tokens_->clock_ahead();
}

void Credentials::Close() {
  if (tokens_) tokens_->Close();
}

}  // namespace dwell::delivery
