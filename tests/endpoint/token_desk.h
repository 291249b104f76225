// The practice endpoint's own token endpoint (SMART Backend Services): gives tokens to registered
// clients, and says which tokens are good.
#pragma once

#include <functional>
#include <map>
#include <mutex>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "tests/endpoint/statement.h"

namespace practice {

struct HttpResponse;

/// How it behaves.
struct TokenManners {
  std::int64_t lifetime_s = 300;
  bool tells_lifetime = true;
  bool dead_at_once = false;  ///< the FHIR side accepts none of the tokens given from now on
  std::string type = "Bearer";
  std::string body;                      ///< when not empty: instead of the answer, with 200
  std::string scope = "system/*.cruds";  ///< the one that is granted
};

struct TokenCounts {
  std::uint64_t asked = 0, given = 0;
  std::uint64_t rejected = 0;               ///< requests of the FHIR side without a good token
  std::vector<std::string> faults;          ///< why statements were refused, see CheckStatement()
  std::vector<std::string> tokens, bodies;  ///< all that were given, and all requests
};

/// Safe from several threads.
class TokenDesk {
 public:
  static constexpr std::string_view kPath = "/token";

  TokenDesk();

  /// From now on the FHIR side wants a token. `token_url` is what we are called.
  void Register(std::string token_url, Registered client);
  void SetManners(const TokenManners& manners);
  TokenCounts counts() const;
  /// No token given so far is good any more.
  void EndAll();
  /// Unix time in seconds, also shown in the Date field; by default the system's.
  void SetClock(std::function<std::int64_t()> now_s);

  bool is_open() const;
  /// Whether this value of Authorization lets in.
  bool Admits(std::string_view authorization);
  HttpResponse Answer(std::string_view content_type, std::string_view body);

 private:
  HttpResponse Give();

  mutable std::mutex mutex_;  // guards all below
  std::string token_url_;
  Registered client_;
  TokenManners manners_;
  TokenCounts counts_;
  std::function<std::int64_t()> now_s_;
  std::set<std::string> used_;
  std::map<std::string, std::int64_t> good_until_;  ///< "Bearer ..." -> Unix time
};

}  // namespace practice
