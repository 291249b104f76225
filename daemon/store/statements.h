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
  kNextWard,
  kClaimable,
  kMarkInProgress,
  kReadBody,
  kStateOfBundle,
  kSettle,
  kPromoteHead,
  kEndWaitsBy,
  kRestartInProgress,
  kOldestWaiting,
  kListQueue,
  kBundlesOfEvent,
  kFindBundle,
  kKeptBundles,
  kBundlesSince,
  kOpenOfLine,
  kOnHold,
  kPastBundles,
  kRemoveBody,
  kMarkRemoved,
  kQuietLines,
  kBundlesOfLine,
  kLineAwaits,
  kEventsOfLine,
  kRemoveEvents,
  kAddPastEvent,
  kRemoveLine,
  kAddPastLine,
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
  kListEndpoints,
  kAddEndpoint,
  kCountEndpoint,
  kKeepIdentity,
  kFindWard,
  kWardRows,
  kAddWard,
};
inline constexpr std::size_t kSqlCount = static_cast<std::size_t>(Sql::kAddWard) + 1;

/// The SQL text of a statement.
const char* SqlText(Sql sql);

}  // namespace dwell::store
