// Answers HTTP requests as a FHIR R4 endpoint: (request, record) -> response. No sockets.
#pragma once

#include <functional>
#include <mutex>
#include <string>
#include <string_view>
#include <unordered_map>
#include <unordered_set>
#include <vector>

#include "tests/endpoint/interactions.h"
#include "tests/endpoint/mood.h"
#include "tests/endpoint/token_desk.h"

namespace practice {

struct HttpRequest {
  std::string_view method, target, body;
  std::string_view content_type, if_none_exist, if_match, authorization;
};

struct HttpResponse {
  int status = 200;
  std::string content_type = "application/fhir+json";
  std::string fields;  ///< more lines "Name: value\r\n"
  std::string body;
  int date_ahead_s = 0;  ///< how far the field Date is ahead of the system's clock
};

/// What was seen since the start.
struct Counts {
  std::uint64_t requests = 0;      ///< at the base URL and below
  std::uint64_t transactions = 0;  ///< committed
  std::uint64_t searches = 0;      ///< answered
  std::uint64_t created = 0, updated = 0, deleted = 0, unchanged = 0;  ///< by interaction
  std::uint64_t refused = 0;   ///< answered 4xx by our own rules
  std::uint64_t repeats = 0;   ///< committed bodies that had been committed before, byte for byte
  std::uint64_t overlaps = 0;  ///< requests writing a resource that another in flight writes
  std::uint64_t in_flight_max = 0;  ///< most requests between arrival and answer at one time
};

/// Safe from several threads.
class Desk {
 public:
  static constexpr std::string_view kBase = "/fhir";

  explicit Desk(Keep keep) : record_(keep), interactions_(record_) {}

  void SetMood(const Mood& mood);
  void SetManners(const Manners& manners);
  Manners manners() const;
  Counts counts() const;
  /// Requests must carry this value of Authorization; empty: none needed.
  void Demand(std::string authorization);
  /// Its token endpoint; closed, and no token needed, until a client is registered.
  TokenDesk& tokens() { return tokens_; }
  /// Called with each body that is committed, in order, before the answer.
  void OnCommit(std::function<void(std::string_view)> seen);
  /// Current resources of a type (empty: all), one JSON a line.
  std::string Dump(std::string_view type) const;
  /// Version of "Type/id"; 0 when it was never there.
  std::uint64_t VersionOf(const std::string& key) const;

  /// As Record's.
  bool Forget(const std::string& key);
  bool Alter(const std::string& key, const std::string& from, const std::string& to);

  /// What is to happen with a request that was read; uses up the mood.
  Mood MoodFor(const HttpRequest& request);
  HttpResponse Answer(const HttpRequest& request);

  /// Marks what a request is about to write, until Leave(), so that overlaps are seen.
  std::vector<std::string> Enter(const HttpRequest& request);
  void Leave(const std::vector<std::string>& keys);

 private:
  HttpResponse Route(const HttpRequest& request);
  HttpResponse Practice(std::string_view path, std::string_view query, const HttpRequest& request);
  HttpResponse Bundle(const HttpRequest& request);
  HttpResponse Batch(bool is_batch, const std::vector<Operation>& operations,
                     const HttpRequest& request);
  HttpResponse Single(const HttpRequest& request, std::string_view url);
  HttpResponse Read(std::string_view path, std::string_view query);
  HttpResponse Find(const std::string& type, std::string_view query);
  std::vector<std::string> Matches(const std::string& type, const std::string& identifier);
  HttpResponse Refuse(const Refusal& refusal);
  HttpResponse RefuseSize(const char* code, const char* diagnostics);
  void Behave(const Manners& manners);
  std::string CountsText() const;
  std::string Lines(std::string_view type) const;
  void Committed(const std::vector<Done>& done, std::string_view body);

  TokenDesk tokens_;
  mutable std::mutex mutex_;  // guards all below
  Record record_;
  Interactions interactions_;
  Mood mood_;
  Manners manners_;
  Counts counts_;
  std::string authorization_;
  std::function<void(std::string_view)> seen_;
  std::unordered_set<std::size_t> bodies_;  ///< hashes
  std::unordered_map<std::string, int> in_flight_keys_;
  std::uint64_t in_flight_ = 0;
};

}  // namespace practice
