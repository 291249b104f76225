// What goes out together: (style, frozen bundles) -> the requests to make, one after the other, and
// from their answers one verdict for each bundle. Pure: no socket, no clock.
//
// The frozen bundles are what the store keeps; what goes out in another style is made from them
// here, always the same bytes for the same style, so that a repeat after a crash is a repeat.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/delivery/rewrite.h"
#include "daemon/delivery/verdict.h"
#include "daemon/delivery/write_style.h"

namespace dwell::delivery {

/// One frozen bundle. `body` must live as long as the load.
struct Parcel {
  std::string_view body;
  Sent sent;
};

/// One request. Views are good until the load's next Take().
struct Outgoing {
  std::string_view method;
  std::string_view target;  ///< path and query, base included
  std::string_view fields;  ///< finished lines for this request: what it carries, what it asks for
  std::string_view body;
};

class Load {
 public:
  /// `base` is the path of the base URL. `parcels` are not empty, of as many lanes, and fit one
  /// request (Fitting()). A single parcel sent as a transaction that updates as create goes out as
  /// it is, unread.
  Load(const WriteStyle& style, std::string_view base, std::vector<Parcel> parcels);
  Load(const Load&) = delete;
  Load& operator=(const Load&) = delete;

  /// The next request; empty when there is no more to be done.
  std::optional<Outgoing> Next() const;
  /// What came of it; `now` as for Judge(). After an answer that says nothing good the rest is not
  /// sent.
  void Take(const net::Exchange& exchange, Instant now);

  /// How many entries the last request had that was taken: what Shrink() wants to know.
  std::size_t entries() const { return entries_taken_; }
  /// One for each parcel, in their order; only when Next() is empty. A parcel of which nothing was
  /// sent has kPause and `untouched`.
  ///
  /// Refused in company: all have `apart`, none counts. Entries of a batch settle their own bundle;
  /// it is done when all its entries are. What was taken of a bundle that is not done stands in
  /// `why`, and makes it uncertain.
  const std::vector<Verdict>& verdicts() const;

 private:
  /// Entries of one parcel in a request.
  struct Slot {
    std::size_t parcel, first, count;
  };
  using Slots = std::vector<Slot>;

  void Read();
  void Plan();
  void Prepare();
  void PrepareSingle(const Slot& slot);
  bool TakeSingle(const Slot& slot, const net::Exchange& exchange, Instant now);
  bool TakeBundle(const Slots& slots, const net::Exchange& exchange, Instant now);
  bool TakeSlot(const Slot& slot, std::size_t before, const Answered& answer);
  void Settle(const Slot& slot, Verdict verdict, std::size_t taken);
  bool IsAsFrozen() const;
  std::size_t EntriesIn(const Slots& slots) const;

  WriteStyle style_;
  std::string base_;
  std::vector<Parcel> parcels_;
  std::vector<Verdict> verdicts_;
  std::vector<std::size_t> taken_;           ///< entries of each parcel
  std::vector<std::vector<Entry>> entries_;  ///< of each parcel; none where it goes as it is
  std::vector<std::string_view> texts_;      ///< entries of each parcel as they stand in its body
  std::vector<Slots> requests_;
  std::size_t request_ = 0;
  std::size_t entries_taken_ = 0;

  std::string_view method_ = "POST", body_;
  std::string target_, fields_, built_;  ///< of the next request
};

}  // namespace dwell::delivery
