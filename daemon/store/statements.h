// Every SQL statement of the store, by name. Prepared once when the store is opened.
#pragma once

#include <cstddef>
#include <cstdint>

namespace dwell::store {

/// One name per operation; the texts are in statements.cc, in the same order.
enum class Sql : std::uint8_t {
  kBegin,
  kCommit,
  kRollback,
  kReadCounts,
  kWriteCounts,
  kFindEvent,
  kNextSource,
  kAddEvent,
  kRawEvents,
  kIdOfEvent,
  kAwaitsAny,
  kAwaitedBy,
  kAwait,
  kStopAwaiting,
  kLineByKey,
  kLineBySeq,
  kKeyOfLine,
  kAddLine,
  kUpdateLine,
  kLinesToChange,
  kNextChange,
  kLaneHasOpen,
  kAddBundle,
  kAddBody,
  kClaimable,
  kMarkInProgress,
  kReadBody,
  kStateOfBundle,
  kSettle,
  kPromoteHead,
  kEndWaitsBy,
  kNextReady,
  kRestartInProgress,
  kOldestWaiting,
  kListQueue,
  kBundlesOfEvent,
  kFindBundle,
  kKeptBundles,
  kBundlesSince,
  kOpenBehind,
  kOnHold,
  kPastBundles,
  kRemoveBody,
  kMarkRemoved,
  kDecide,
  kAddDecision,
  kDecisionsOfBundle,
  kListLines,
  kCountUnknownCode,
  kUnknownCodeRows,
  kAddUnknownCode,
  kListUnknownCodes,
  kCountDoubtfulIdentifier,
  kDoubtfulIdentifierRows,
  kAddDoubtfulIdentifier,
  kListDoubtfulIdentifiers,
};
inline constexpr std::size_t kSqlCount =
    static_cast<std::size_t>(Sql::kListDoubtfulIdentifiers) + 1;

/// The SQL text of a statement.
const char* SqlText(Sql sql);

}  // namespace dwell::store
