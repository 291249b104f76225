#include "daemon/command/listings.h"

#include <cstdio>

#include "daemon/command/admin_client.h"
#include "daemon/command/code_report.h"
#include "daemon/command/doubt_report.h"
#include "daemon/command/endpoint_words.h"
#include "daemon/command/outcome.h"
#include "daemon/command/silence_words.h"
#include "daemon/command/table.h"
#include "schemas/json/writer.h"

namespace dwell::command {
namespace {

/// Rows that columns are made to fit: a listing of a million must not be in memory as a whole.
constexpr std::size_t kRowsAtOnce = 1000;

void Print(std::string_view text) { std::fwrite(text.data(), 1, text.size(), stdout); }

void PrintPairs(schemas::Value row, const std::vector<Column>& pairs) {
  std::size_t width = 0;
  for (const Column& pair : pairs) width = std::max(width, pair.title.size());
  for (const Column& pair : pairs) {
    const std::string text = TextAt(row, pair.pointer);
    if (text == "-") continue;
    std::string title(pair.title);
    title.resize(width + 2, ' ');
    Print(title + text + "\n");
  }
}

/// How each of several endpoints gets on.
void PrintEndpoints(schemas::Value status) {
  const auto endpoints = status.Find("endpoints");
  if (!endpoints || !endpoints->is_array()) return;
  Table table({{"ENDPOINT", "/endpoint"},
               {"CONFIGURED", "", ConfiguredInWords},
               {"READY", "/deliveries/ready"},
               {"IN PROGRESS", "/deliveries/in-progress"},
               {"COMPLETED", "/deliveries/completed"},
               {"ON HOLD", "/deliveries/on-hold"},
               {"CANCELLED", "/deliveries/cancelled"},
               {"LAST FAILURE", "/last_failure"}});
  for (const schemas::Value endpoint : *endpoints) table.Add(endpoint);
  Print("\n" + table.Print());
}

/// What persons decided about the deliveries, if they did.
void PrintDecisions(schemas::Value deliveries) {
  Table table({{"DELIVERY", "/delivery"},
               {"DECIDED", "/decision"},
               {"AT", "/at"},
               {"BY", "/by"},
               {"WHY", "/why"},
               {"IT WAS ON HOLD BECAUSE", "/was"},
               {"MADE AGAIN AS", "/made_again_as"}});
  for (const schemas::Value delivery : deliveries) {
    const auto decisions = delivery.Find("decisions");
    if (!decisions || !decisions->is_array()) continue;
    for (const schemas::Value decision : *decisions) table.Add(decision);
  }
  if (table.size() != 0) Print("\n" + table.Print());
}

void PrintStory(schemas::Value story) {
  PrintPairs(story, {{"event", "/id"},
                     {"source", "/source"},
                     {"kind", "/kind"},
                     {"line", "/line"},
                     {"no longer kept since", "/no_longer_kept_since"},
                     {"line damaged since", "/line_damaged_since"},
                     {"received", "/received_at"}});
  const auto deliveries = story.Find("deliveries");
  if (!deliveries || deliveries->size() == 0) return Print("\nnothing to deliver came of it\n");
  Table table({{"DELIVERY", "/delivery"},
               {"TO", "", EndpointInWords},
               {"STATE", "/state"},
               {"MADE", "/made_at"},
               {"ATTEMPTS", "/attempts"},
               {"SETTLED", "/settled_at"},
               {"WHY", "", OutcomeInWords}});
  for (const schemas::Value delivery : *deliveries) table.Add(delivery);
  Print("\n" + table.Print());
  PrintDecisions(*deliveries);
}

/// Keys of the configuration that were changed and do not count yet.
void PrintNeedsRestart(schemas::Value status) {
  const auto in_force = status.Find("in_force");
  const auto keys = in_force ? in_force->Find("needs_restart") : std::nullopt;
  if (!keys || !keys->is_array()) return;
  Print("needs a restart:");
  for (const schemas::Value key : *keys) Print(" " + std::string(key.AsString()));
  Print("\n");
}

void PrintStatus(schemas::Value status) {
  PrintPairs(status, {{"now", "/now"},
                      {"wall clock ahead, s", "/wall_clock_ahead_s"},
                      {"caught up to", "/caught_up_to"},
                      {"draining", "/draining"},
                      {"events", "/events"},
                      {"lines", "/lines"},
                      {"damaged lines", "/damaged_lines"},
                      {"ready", "/deliveries/ready"},
                      {"in progress", "/deliveries/in-progress"},
                      {"completed", "/deliveries/completed"},
                      {"on hold", "/deliveries/on-hold"},
                      {"cancelled", "/deliveries/cancelled"},
                      {"oldest waiting", "/oldest_waiting"},
                      {"writes", "/writes"},
                      {"last failure", "/last_failure"},
                      {"clock ahead, s", "/clock_ahead_s"},
                      {"file, bytes", "/file/bytes"},
                      {"free in it, bytes", "/file/free_bytes"},
                      {"cleaned up", "/clean_up/at"},
                      {"bodies removed", "/clean_up/bodies_removed"},
                      {"lines no longer kept", "/clean_up/lines_no_longer_kept"},
                      {"events of them", "/clean_up/events_no_longer_kept"},
                      {"given back, bytes", "/clean_up/bytes_given_back"},
                      {"reconciled", "/reconciled/at"},
                      {"compared", "/reconciled/compared"},
                      {"not as accepted", "/reconciled/findings"},
                      {"sent again", "/reconciled/sent"},
                      {"policy", "/in_force/policy"},
                      {"its version", "/in_force/version"},
                      {"tz data", "/in_force/tz_data"},
                      {"files read", "/in_force/read_at"},
                      {"reload refused", "/in_force/refused_at"},
                      {"lines to follow", "/in_force/lines_to_follow/of"},
                      {"of them looked at", "/in_force/lines_to_follow/looked_at"},
                      {"they wait", "/in_force/lines_to_follow/waits_for"}});
  PrintNeedsRestart(status);
  PrintEndpoints(status);
  const std::string silent = SilenceInWords(status);
  if (!silent.empty()) Print("\n" + silent);
  if (TextAt(status, "/unknown_codes/0/events") != "-") Print("\n" + UnknownCodesInWords(status));
  const std::string doubtful = DoubtfulIdentifiersInWords(status);
  if (!doubtful.empty()) Print("\n" + doubtful);
}

/// Asks for single objects and prints each by `print`, or as it is.
Result<int> ShowOne(const std::string& socket, const std::string& request, bool json,
                    void (*print)(schemas::Value)) {
  const auto asked = AskDaemon(socket, request, [&](std::string_view row) {
    if (json) return Print(std::string(row) + "\n");
    const auto document = schemas::Document::Parse(row);
    if (document) print(document->root());
  });
  if (!asked) return asked.error();
  return 0;
}

}  // namespace

Result<int> List(const std::string& socket, const std::string& request, bool json,
                 std::vector<Column> columns, const char* what) {
  Table table(std::move(columns));
  bool some = false;
  const auto asked = AskDaemon(socket, request, [&](std::string_view row) {
    const auto document = schemas::Document::Parse(row);
    if (!document) return;
    if (json) {
      Print(std::string(row) + "\n");
    } else {
      table.Add(document->root());
      some = true;
      if (table.size() == kRowsAtOnce) Print(table.Print());
    }
  });
  if (!asked) return asked.error();
  if (!json) Print(some ? table.Print() : std::string(what) + "\n");
  return 0;
}

Result<int> ListQueue(const std::string& socket, const Options& options) {
  return List(socket, R"({"request":"queue"})", options.json,
              {{"DELIVERY", "/delivery"},
               {"TO", "", EndpointInWords},
               {"STATE", "/state"},
               {"SINCE", "/since"},
               {"LINE", "/line"},
               {"EVENT", "/event"},
               {"ATTEMPTS", "/attempts"},
               {"NOT BEFORE", "/not_before"},
               {"WHY", "/why"}},
              "nothing waits");
}

Result<int> ShowEvent(const std::string& socket, const Options& options) {
  schemas::JsonWriter request;
  request.BeginObject();
  request.Member("request", "show");
  request.Member("id", options.event);
  if (!options.source.empty()) request.Member("source", options.source);
  request.EndObject();
  return ShowOne(socket, request.Take(), options.json, PrintStory);
}

Result<int> ShowStatus(const std::string& socket, const Options& options) {
  return ShowOne(socket, R"({"request":"status"})", options.json, PrintStatus);
}

}  // namespace dwell::command
