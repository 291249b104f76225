#include "daemon/search/search_service.h"

#include <utility>

#include "daemon/search/searchset.h"

namespace dwell::search {
namespace {

using intake::Plan;
using intake::Replies;
using intake::Reply;

Reply Fhir(std::string body) {
  Reply reply;
  reply.content_type = intake::kFhirJson;
  reply.body = std::move(body);
  return reply;
}

Plan Refused(Reply reply) {
  Plan plan;
  plan.refusal = std::move(reply);
  return plan;
}

/// One search on its way through the lines.
struct Search {
  Search(ledger::Ledger& the_ledger, TaskQuery the_query, std::size_t pages, Replies to)
      : ledger(the_ledger),
        query(std::move(the_query)),
        answer(query),
        pages_left(pages),
        done(std::move(to)) {}

  ledger::Ledger& ledger;
  const TaskQuery query;
  Searchset answer;
  std::size_t pages_left;
  Replies done;
};

/// Page after page of lines, each in a job of its own, so that intake is not kept waiting.
void GoOn(const std::shared_ptr<Search>& search) {
  --search->pages_left;
  const ledger::TaskOrder order{search->query.open_only, search->answer.next().line_seq};
  search->ledger.ListTasks(order, [search](const Result<ledger::TaskPage>& page) {
    if (!page) {
      return search->done(intake::Refuse(503, "busy", "the same again once the store works again"));
    }
    search->answer.Take(*page);
    // Torn off in the middle of the page: what is behind is for the next request.
    const bool is_whole = search->answer.next().line_seq == page->next;
    const bool more = !is_whole || page->more;
    if (more && is_whole && !search->answer.is_full() && search->pages_left > 0) {
      return GoOn(search);
    }
    search->done(Fhir(search->answer.Finish(more)));
  });
}

}  // namespace

Plan SearchService::Judge(const intake::GateHead& head) {
  const std::size_t mark = std::min(head.target.find('?'), head.target.size());
  const std::string_view path = head.target.substr(0, mark);
  if (path != kTaskPath && path != kMetadataPath) {
    return Refused(intake::Refuse(404, "not-found", "one of /fhir/Task, /fhir/metadata"));
  }
  if (head.method != "GET" && head.method != "HEAD") {
    Reply reply = intake::Refuse(405, "method", "one of the methods in Allow");
    reply.allow = "GET, HEAD";
    return Refused(std::move(reply));
  }
  Plan plan;
  if (path == kMetadataPath) {
    plan.answer = [this](const std::string& /*body*/, const Replies& done) {
      done(Fhir(CapabilityStatement(options_.release, options_.version, clock_.Now())));
    };
    return plan;
  }
  auto query = ReadTaskQuery(head.target.substr(std::min(mark + 1, head.target.size())));
  if (!query) {
    return Refused(
        intake::Refuse(400, "parameter", query.error().parameter + ": " + query.error().expected));
  }
  plan.answer = [this, query = std::move(*query)](const std::string& /*body*/,
                                                  const Replies& done) {
    GoOn(std::make_shared<Search>(ledger_, query, options_.pages_max, done));
  };
  return plan;
}

}  // namespace dwell::search
