// What lets us in at the endpoint: nothing, a token from a file, or tokens from a token endpoint.
// Inside of delivery; on the thread of its loop.
#pragma once

#include <memory>

#include "daemon/delivery/token.h"
#include "daemon/delivery/token_client.h"

namespace dwell::delivery {

class Credentials {
 public:
  /// `tokens` null: those of `file`, which may be none. `steady` is the delivery's clock.
  Credentials(TokenFile file, std::unique_ptr<TokenClient> tokens,
              std::function<TokenState::Time()> steady);

  /// Waits until an attempt can be made; otherwise the verdict that stands for it.
  boost::asio::awaitable<std::optional<Verdict>> Ready();
  /// The line of the head, or empty; see TokenState.
  const std::string& field() const;
  std::uint64_t generation() const;

  /// Told what an attempt with that generation came to. When the endpoint did not accept the token
  /// and another one is there or can be had, the verdict becomes "untouched": the same attempt goes
  /// again at once and counts for nothing. Returns whether it did.
  bool Weigh(Verdict& verdict, std::uint64_t generation);

  /// How far our clock is ahead of the token endpoint's, when that is worth telling.
  std::optional<std::chrono::seconds> clock_ahead() const;
  /// A request in progress fails.
  void Close();

 private:
  void LookAtFile();

  TokenFile file_;
  std::unique_ptr<TokenClient> tokens_;
  std::function<TokenState::Time()> steady_;
  std::uint64_t file_generation_ = 0;
  TokenState::Time looked_{};
};

}  // namespace dwell::delivery
