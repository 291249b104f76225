#include "daemon/intake/routes.h"

#include "daemon/intake/percent.h"

namespace dwell::intake {
namespace {

struct Row {
  std::string_view path;
  bool prefix;  ///< something follows the path
  std::string_view method;
  Action action;
  std::string_view allow;
};

constexpr Row kRoutes[] = {
    {"/events", false, "POST", Action::kSubmitOne, "POST"},
    {"/events/", true, "GET", Action::kShow, "GET, HEAD"},
    {"/livez", false, "GET", Action::kLive, "GET, HEAD"},
    {"/readyz", false, "GET", Action::kReady, "GET, HEAD"},
};

Route Refused(Reply reply) {
  Route route;
  route.refusal = std::move(reply);
  return route;
}

/// The media type before its parameters; the charset parameter has no meaning for JSON (RFC 8259
/// section 11).
std::string_view MediaType(std::string_view content_type) {
  content_type = content_type.substr(0, content_type.find(';'));
  while (!content_type.empty() && (content_type.back() == ' ' || content_type.back() == '\t')) {
    content_type.remove_suffix(1);
  }
  return content_type;
}

Route SubmitRoute(const GateHead& head) {
  Route route;
  const std::string_view type = MediaType(head.content_type);
  if (SameText(type, kJson)) {
    route.action = Action::kSubmitOne;
  } else if (SameText(type, kNdjson)) {
    route.action = Action::kSubmitBatch;
  } else {
    route.refusal = Refuse(415, "content-type",
                           "Content-Type: application/json (one event) or application/x-ndjson "
                           "(one event a line)");
  }
  return route;
}

Route ShowRoute(std::string_view segment, std::string_view query) {
  Route route;
  route.action = Action::kShow;
  const auto id = PercentDecode(segment);
  if (!id || id->empty() || segment.find('/') != std::string_view::npos) {
    return Refused(Refuse(400, "parameter", "the event's id, percent-encoded, after /events/"));
  }
  const auto source = QueryValue(query, "source");
  if (!source || source->empty()) {
    return Refused(Refuse(400, "parameter",
                          "?source= once, percent-encoded: ids are unique within their source"));
  }
  route.id = *id;
  route.source = *source;
  return route;
}

}  // namespace

Route FindRoute(const GateHead& head) {
  const std::size_t mark = head.target.find('?');
  const std::string_view path = head.target.substr(0, mark);
  const std::string_view query =
      mark == std::string_view::npos ? std::string_view() : head.target.substr(mark + 1);
  const std::string_view method = head.method == "HEAD" ? "GET" : head.method;
  for (const Row& row : kRoutes) {
    if (row.prefix ? !path.starts_with(row.path) : path != row.path) continue;
    if (method != row.method) {
      Reply reply = Refuse(405, "method", "one of the methods in Allow");
      reply.allow = row.allow;
      return Refused(std::move(reply));
    }
    if (row.action == Action::kSubmitOne) return SubmitRoute(head);
    if (row.action == Action::kShow) return ShowRoute(path.substr(row.path.size()), query);
    Route route;
    route.action = row.action;
    return route;
  }
  return Refused(Refuse(404, "not-found", "one of /events, /events/{id}, /livez, /readyz"));
}

}  // namespace dwell::intake
