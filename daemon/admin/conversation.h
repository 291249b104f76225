// One operator's connection to the admin socket: a JSON request a line, answered by JSON lines of
// which the last one has "end".
//
//   {"request":"status"}                                 one object
//   {"request":"queue"}                                  one object for each delivery that waits
//   {"request":"lines"}                                  one object for each line
//   {"request":"show","id":…,"source":…}                 one object; without source: found by id
//   alone
//   {"request":"release","target":…,"source":…,"by":…,"why":…}   one object for each delivery;
//   "all_of" in place of target and source: those on hold for a reason that contains it
//   {"request":"cancel","target":…,"by":…,"why":…}        one object
//   {"request":"remap","source":…,"line_id":…,"ward":…,"all":…,"send":…,"by":…,"why":…}   one
//   object for each line in which something differs, how far it is after each page, then the sums
//   {"request":"reconcile","endpoint":…,"since":…,"until":…,"source":…,"line_id":…,"ward":…,
//   "send":…,"overwrite":…,"by":…,"why":…}   objects for what is missing or differs and for what
//   goes again, how far it is after each moment, then the sums
//   {"request":"reload","by":…,"why":…}   one object: what is in force from now on; then how far
//   the lines are that follow, and the sums
//   {"request":"submit","format":"json"|"ndjson","body":…}   one object for each event
//
// Then {"end":true}, or {"end":true,"error":…} in words for a person.
#pragma once

#include <functional>
#include <optional>
#include <string>

#include "daemon/admin/remap_rows.h"
#include "daemon/admin/rows.h"
#include "daemon/base/clock.h"
#include "daemon/intake/pipeline.h"
#include "daemon/net/connection.h"
#include "daemon/reconcile/reconciler.h"
#include "daemon/retention/retention.h"
#include "daemon/store/writer.h"
#include "schemas/json/document.h"
#include "schemas/json/writer.h"

namespace dwell::admin {

/// What the answers are made from; all outlive the conversations.
struct Services {
  intake::Pipeline* pipeline = nullptr;
  ledger::Ledger* ledger = nullptr;
  store::Writer* writer = nullptr;
  const base::Clock* clock = nullptr;
  std::string zone;                                  ///< of the site
  std::optional<std::chrono::minutes> silent_after;  ///< see store::MayBeQuietFor()
  reconcile::Reconciler* reconciler = nullptr;
  /// The endpoints of the configuration, the main one first.
  std::function<std::vector<EndpointState>()> endpoints;
  /// Whether the code maps now in use know the code in that group.
  std::function<bool(const std::string& group, const std::string& code)> knows;
  /// Reads the configuration and all it names again, and works by it from then on; lines that are
  /// not over follow. What is wrong, in words (then nothing changes), or one line of JSON.
  std::function<void(std::string by, std::string why, std::function<void(Result<std::string>)>)>
      reload;
  /// How far the lines are that follow, once they got further or there are none left.
  std::function<void(std::function<void(Followed)>)> next_followed;
  std::function<InForce()> in_force;
  /// Up to when everything that fell due has been made, if the clock has looked yet.
  std::function<std::optional<Instant>()> caught_up_to;
  /// The last clean-up of the store, if one went through since the start.
  std::function<std::optional<retention::CleanUp>()> cleaned_up;
};

class Conversation {
 public:
  Conversation(net::Connection& connection, const Services& services)
      : connection_(connection), services_(services) {}

  /// Answers requests until the peer ends or misbehaves.
  net::asio::awaitable<void> Run();

 private:
  /// Writes answer lines; the result is an error in words, or empty.
  using Answerer = net::asio::awaitable<std::string> (Conversation::*)(schemas::Value);
  struct Row;

  net::asio::awaitable<std::optional<std::string>> ReadLine();
  net::asio::awaitable<bool> Answer(const std::string& line);
  net::asio::awaitable<bool> Send(std::string text);

  net::asio::awaitable<std::string> Status(schemas::Value request);
  net::asio::awaitable<std::string> Queue(schemas::Value request);
  net::asio::awaitable<std::string> Lines(schemas::Value request);
  net::asio::awaitable<std::string> Show(schemas::Value request);
  net::asio::awaitable<std::string> Decide(schemas::Value request);
  net::asio::awaitable<std::string> Remap(schemas::Value request);
  net::asio::awaitable<std::string> Reconcile(schemas::Value request);
  net::asio::awaitable<std::string> Reload(schemas::Value request);
  net::asio::awaitable<std::string> Submit(schemas::Value request);

  net::Connection& connection_;
  const Services& services_;
  std::string received_;
};

}  // namespace dwell::admin
