// The search for Tasks with its listener.
#pragma once

#include <memory>

#include "daemon/intake/listener.h"
#include "daemon/search/search_service.h"

namespace dwell::search {

class Search {
 public:
  /// Both references outlive every connection. Errors: those of intake::Listener::Open().
  static Result<std::unique_ptr<Search>> Open(const net::asio::any_io_executor& executor,
                                              ledger::Ledger& ledger, const base::Clock& clock,
                                              SearchService::Options options,
                                              intake::ListenerOptions at) {
    std::unique_ptr<Search> search(new Search(ledger, clock, std::move(options)));
    auto listener = intake::Listener::Open(executor, search->service_, clock, std::move(at));
    if (!listener) return listener.error();
    search->listener_ = std::move(*listener);
    return search;
  }

  std::uint16_t port() const { return listener_->port(); }

 private:
  Search(ledger::Ledger& ledger, const base::Clock& clock, SearchService::Options options)
      : service_(ledger, clock, std::move(options)) {}

  SearchService service_;
  std::unique_ptr<intake::Listener> listener_;
};

}  // namespace dwell::search
