// An access token and its time: (token, lifetime, now) -> use it, renew it early, or wait for a new
// one. Pure: told of answers and the time, does nothing itself.
#pragma once

#include <chrono>
#include <cstdint>
#include <string>

namespace dwell::delivery {

/// Times are of the steady clock: setting the wall clock neither kills a token nor revives one.
class TokenState {
 public:
  using Time = std::chrono::steady_clock::time_point;

  enum class Step : std::uint8_t {
    kUse,       ///< the token serves
    kUseRenew,  ///< it serves, but a new one should be asked for meanwhile
    kRenew,     ///< there is none that serves: ask for one first
    kRest,      ///< there is none, and it is too early to ask again
  };

  /// What to do at `now`. While a request for a token is on its way the caller asks for no second.
  Step Next(Time now) const;

  /// A new token, asked for at `asked`, that lives for `lifetime` from then: counted from the
  /// question, so that a slow answer makes it shorter, never longer.
  void Got(std::string token, std::chrono::seconds lifetime, Time asked);
  /// No token came; no more questions before `until`. One that still serves goes on serving.
  void Failed(Time until);

  /// The endpoint answered 401 to an attempt with the token of that generation. Returns whether the
  /// attempt should go again at once: with the newer token that is there, or with a new one. False
  /// when also a token fresh from its issuer was refused: then the trouble is another one, and the
  /// endpoint's pause and backoff rule. Either way that token is not used again.
  bool Refused(std::uint64_t generation);
  /// The endpoint let an attempt with that generation in.
  void Accepted(std::uint64_t generation);

  /// "Authorization: Bearer ...\r\n", or empty.
  const std::string& field() const { return field_; }
  /// Counts the tokens; 0: none yet.
  std::uint64_t generation() const { return generation_; }
  Time rests_until() const { return rests_until_; }

 private:
  std::string field_;
  std::uint64_t generation_ = 0;
  Time renew_at_{}, ends_at_{}, rests_until_{};
  bool is_renewal_of_refused_ = false;  ///< asked for because the one before was refused
  bool again_ = false;                  ///< what Refused() said of the token of this generation
};

}  // namespace dwell::delivery
