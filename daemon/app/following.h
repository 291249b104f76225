// Has every line that is not over follow rules that changed: derives it again and sends what
// differs, page by page beside everything else. That this is owed stands in the store until it is
// done, so that a stop in between only delays it.
#pragma once

#include <boost/asio/any_io_executor.hpp>
#include <cstdint>
#include <functional>
#include <memory>
#include <string>

#include "daemon/admin/remap_rows.h"
#include "daemon/ledger/ledger.h"
#include "daemon/store/jobs.h"

namespace dwell::app {

/// Which rules of which zone dues are computed by, as it is remembered between runs.
struct ZoneMark {
  std::string zone;
  std::uint64_t fingerprint = 0;  ///< see due::Zone::Fingerprint()
  std::string tz_version;

  /// One line; the same text for the same mark.
  std::string Text() const;
};

/// Used on the executor's thread alone.
class Following {
 public:
  /// Both outlive it, and the last job of `jobs` too.
  Following(boost::asio::any_io_executor executor, store::Jobs& jobs, ledger::Ledger& ledger);
  /// What is under way is left; the next start goes on with it.
  ~Following();
  Following(const Following&) = delete;
  Following& operator=(const Following&) = delete;

  /// At the start: begins if the rules of the zone are not those of the last run, or if an earlier
  /// run did not come to the end of it. A change of tz data is logged, old and new version.
  void Resume(const ZoneMark& zone);
  /// Begins with the first line, also when it is under way. Rules that are replaced by a job posted
  /// after this call, and before the executor runs anything else, are the rules it goes by.
  void Begin(const ZoneMark& zone, std::string by, std::string why);

  /// Tells how far it is once it got further, or is over.
  void Next(std::function<void(admin::Followed)> told);
  const admin::Followed& state() const;

 private:
  struct State;
  std::shared_ptr<State> state_;  ///< jobs on their way hold it too
};

}  // namespace dwell::app
