#include "daemon/store/statements.h"

#include <array>

namespace dwell::store {
namespace {

struct Row {
  Sql sql;
  const char* text;
};

// States in the file: 0 ready, 1 in-progress, 2 completed, 3 on-hold, 4 cancelled (DeliveryState).
// `open` is 1 until a bundle is completed or cancelled; `head` is 1 for the first open one of its
// lane. INDEXED BY where SQLite, which knows no numbers here, might take an index that is legal and
// long. None of these reads more rows than it returns: tests look at the plan of each.
constexpr std::array<Row, kSqlCount> kStatements{{
    {Sql::kBegin, "BEGIN IMMEDIATE"},
    {Sql::kCommit, "COMMIT"},
    {Sql::kRollback, "ROLLBACK"},
    {Sql::kReadCounts,
     "SELECT events, lines, ready, in_progress, completed, on_hold, cancelled FROM counts"
     " WHERE id = 1"},
    {Sql::kWriteCounts,
     "UPDATE counts SET events = ?, lines = ?, ready = ?, in_progress = ?, completed = ?,"
     " on_hold = ?, cancelled = ? WHERE id = 1"},
    {Sql::kFindEvent,
     "SELECT event.seq, event.kind, event.content, event.received_at, line.line_id,"
     " line.no_longer_kept_since, line.damaged_since, event.raw"
     " FROM event LEFT JOIN line ON line.seq = event.line_seq"
     " WHERE event.source = ? AND event.id = ?"},
    {Sql::kNextSource,
     "SELECT source FROM event INDEXED BY event_key WHERE source > ? ORDER BY source LIMIT 1"},
    {Sql::kAddEvent,
     "INSERT INTO event(line_seq, source, id, kind, content, received_at, raw)"
     " VALUES(?, ?, ?, ?, ?, ?, ?)"},
    {Sql::kRawEvents, "SELECT raw, content FROM event WHERE line_seq = ? ORDER BY seq"},
    {Sql::kMendEvent, "UPDATE event SET raw = ? WHERE seq = ?"},
    {Sql::kNewestEvent,
     "SELECT received_at, raw FROM event WHERE seq > 0 ORDER BY seq DESC LIMIT 1"},
    {Sql::kIdOfEvent, "SELECT id FROM event WHERE seq = ?"},
    {Sql::kAwaitsAny, "SELECT source FROM awaited INDEXED BY awaited_key ORDER BY source LIMIT 1"},
    {Sql::kAwaitedBy, "SELECT line_seq FROM awaited WHERE source = ? AND id = ?"},
    {Sql::kAwait, "INSERT OR IGNORE INTO awaited(source, id, line_seq) VALUES(?, ?, ?)"},
    {Sql::kStopAwaiting, "DELETE FROM awaited WHERE source = ? AND id = ?"},
    {Sql::kLineByKey,
     "SELECT seq, source, line_id, bundles, next_change, last_event_at, no_longer_kept_since,"
     " issued, summary, events, sum, damaged_since FROM line"
     " WHERE source = ? AND line_id = ?"},
    {Sql::kLineBySeq,
     "SELECT seq, source, line_id, bundles, next_change, last_event_at, no_longer_kept_since,"
     " issued, summary, events, sum, damaged_since FROM line"
     " WHERE seq = ?"},
    {Sql::kKeyOfLine, "SELECT source, line_id FROM line WHERE seq = ?"},
    {Sql::kAddLine,
     "INSERT INTO line(source, line_id, bundles, next_change, last_event_at, issued, summary,"
     " events, sum) VALUES(?, ?, ?, ?, ?, ?, ?, ?, ?)"},
    {Sql::kUpdateLine,
     "UPDATE line SET bundles = ?, next_change = ?, last_event_at = max(last_event_at, ?),"
     " issued = ?, summary = ?, events = ?, sum = ? WHERE seq = ?"},
    {Sql::kAnotherEvent,
     "UPDATE line SET events = events + 1, last_event_at = max(last_event_at, ?) WHERE seq = ?"},
    {Sql::kPutOff, "UPDATE line SET next_change = ? WHERE seq = ?"},
    {Sql::kWake, "UPDATE line SET next_change = ? WHERE seq = ? AND no_longer_kept_since IS NULL"},
    {Sql::kWakeAll, "UPDATE line SET next_change = ?1 WHERE next_change > ?1"},
    {Sql::kMarkDamaged,
     "UPDATE line SET damaged_since = coalesce(damaged_since, ?), next_change = ? WHERE seq = ?"},
    {Sql::kMarkWhole, "UPDATE line SET damaged_since = NULL WHERE seq = ?"},
    {Sql::kDamagedLines,
     "SELECT seq FROM line INDEXED BY line_damaged WHERE damaged_since > -9223372036854775808"
     " ORDER BY damaged_since, seq LIMIT ?"},
    {Sql::kLinesToChange,
     "SELECT seq FROM line WHERE next_change <= ? ORDER BY next_change, seq LIMIT ?"},
    {Sql::kNextChange,
     "SELECT next_change FROM line WHERE next_change IS NOT NULL ORDER BY next_change LIMIT 1"},
    {Sql::kLaneHasOpen,
     "SELECT 1 FROM bundle INDEXED BY bundle_lane WHERE open = 1 AND line_seq = ?"
     " AND endpoint = ? LIMIT 1"},
    {Sql::kAddBundle,
     "INSERT INTO bundle(line_seq, event_seq, made_at, state, open, head, not_before, attempts,"
     " uncertain, settled_at, entries, why, outcome, endpoint, ward)"
     " VALUES(?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"},
    {Sql::kAddBody, "INSERT INTO body(bundle_seq, packed) VALUES(?, ?)"},
    {Sql::kNextWard,
     "SELECT ward, not_before FROM bundle INDEXED BY bundle_claimable WHERE head = 1 AND state = 0"
     " AND endpoint = ? AND ward > ? ORDER BY ward, not_before LIMIT 1"},
    {Sql::kClaimable,
     "SELECT seq, line_seq, event_seq, made_at, state, not_before, attempts, uncertain,"
     " settled_at, entries, why, outcome, kept, endpoint, ward FROM bundle"
     " INDEXED BY bundle_claimable WHERE head = 1 AND state = 0 AND endpoint = ? AND ward = ?"
     " AND not_before BETWEEN ? AND ? ORDER BY not_before, seq LIMIT ?"},
    {Sql::kMarkInProgress, "UPDATE bundle SET state = 1 WHERE seq = ?"},
    {Sql::kReadBody, "SELECT packed FROM body WHERE bundle_seq = ?"},
    {Sql::kStateOfBundle, "SELECT line_seq, endpoint, state FROM bundle WHERE seq = ?"},
    {Sql::kSettle,
     "UPDATE bundle SET state = ?1, open = ?2, head = head * ?2, not_before = ?3,"
     " attempts = attempts + ?4, uncertain = ?5, settled_at = ?6, why = ?7, outcome = ?8"
     " WHERE seq = ?9"},
    {Sql::kPromoteHead,
     "UPDATE bundle SET head = 1 WHERE seq ="
     " (SELECT seq FROM bundle INDEXED BY bundle_lane WHERE open = 1 AND line_seq = ?"
     " AND endpoint = ? ORDER BY seq LIMIT 1)"},
    {Sql::kEndWaitsBy,
     "UPDATE bundle INDEXED BY bundle_claimable SET not_before = ?1 WHERE head = 1 AND state = 0"
     " AND endpoint = ?2 AND not_before > ?1"},
    {Sql::kRestartInProgress,
     "UPDATE bundle SET state = 0, uncertain = 1, not_before = 0 WHERE open = 1 AND state = 1"},
    {Sql::kMadeBefore,
     "SELECT seq, line_seq, made_at FROM bundle WHERE seq < ? ORDER BY seq DESC LIMIT 1"},
    {Sql::kOldestWaiting,
     "SELECT made_at FROM bundle WHERE open = 1 AND state <> 3 ORDER BY seq LIMIT 1"},
    {Sql::kListQueue,
     "SELECT bundle.seq, line.source, line.line_id, event.id, bundle.state, bundle.made_at,"
     " bundle.not_before, bundle.attempts, bundle.uncertain, bundle.why, bundle.endpoint"
     " FROM bundle CROSS JOIN line ON line.seq = bundle.line_seq"
     " LEFT JOIN event ON event.seq = bundle.event_seq"
     " WHERE bundle.open = 1 AND bundle.seq > ? ORDER BY bundle.seq LIMIT ?"},
    {Sql::kBundlesOfEvent,
     "SELECT seq, line_seq, event_seq, made_at, state, not_before, attempts, uncertain,"
     " settled_at, entries, why, outcome, kept, endpoint, ward FROM bundle WHERE event_seq = ? AND "
     "event_seq > 0 "
     "ORDER "
     "BY seq"},
    {Sql::kFindBundle,
     "SELECT seq, line_seq, event_seq, made_at, state, not_before, attempts, uncertain,"
     " settled_at, entries, why, outcome, kept, endpoint, ward FROM bundle WHERE seq = ?"},
    {Sql::kKeptBundles,
     "SELECT bundle.seq FROM event CROSS JOIN bundle INDEXED BY bundle_event"
     " ON bundle.event_seq = event.seq AND bundle.event_seq > 0"
     " CROSS JOIN body ON body.bundle_seq = bundle.seq"
     " WHERE event.line_seq = ?1 AND bundle.state <> 4"
     " UNION ALL"
     " SELECT bundle.seq FROM bundle INDEXED BY bundle_of_clock"
     " CROSS JOIN body ON body.bundle_seq = bundle.seq"
     " WHERE bundle.line_seq = ?1 AND bundle.event_seq = 0 AND bundle.state <> 4"},
    {Sql::kBundlesSince,
     "SELECT bundle.seq, bundle.line_seq, bundle.event_seq, bundle.made_at, bundle.state,"
     " bundle.not_before, bundle.attempts, bundle.uncertain, bundle.settled_at, bundle.entries,"
     " bundle.why, bundle.outcome, bundle.kept, bundle.endpoint, bundle.ward"
     " FROM event CROSS JOIN bundle INDEXED BY bundle_event"
     " ON bundle.event_seq = event.seq AND bundle.event_seq > 0"
     " WHERE event.line_seq = ?1 AND bundle.state <> 4"
     " AND (bundle.open = 1 OR bundle.settled_at >= ?2)"
     " UNION ALL"
     " SELECT bundle.seq, bundle.line_seq, bundle.event_seq, bundle.made_at, bundle.state,"
     " bundle.not_before, bundle.attempts, bundle.uncertain, bundle.settled_at, bundle.entries,"
     " bundle.why, bundle.outcome, bundle.kept, bundle.endpoint, bundle.ward"
     " FROM bundle INDEXED BY bundle_of_clock"
     " WHERE bundle.line_seq = ?1 AND bundle.event_seq = 0 AND bundle.state <> 4"
     " AND (bundle.open = 1 OR bundle.settled_at >= ?2)"},
    {Sql::kOpenOfLine,
     "SELECT seq, line_seq, event_seq, made_at, state, not_before, attempts, uncertain,"
     " settled_at, entries, why, outcome, kept, endpoint, ward FROM bundle INDEXED BY bundle_lane"
     " WHERE open = 1 AND line_seq = ? ORDER BY endpoint, seq"},
    {Sql::kOnHold,
     "SELECT seq FROM bundle INDEXED BY bundle_on_hold WHERE state = 3 AND seq > ?"
     " AND instr(why, ?) > 0 ORDER BY seq LIMIT ?"},
    {Sql::kPastBundles,
     "SELECT seq FROM bundle INDEXED BY bundle_past WHERE open = 0 AND kept = 1"
     " AND (state = 2 OR uncertain = 0) AND settled_at <= ? ORDER BY settled_at, seq LIMIT ?"},
    {Sql::kRemoveBody, "DELETE FROM body WHERE bundle_seq = ?"},
    {Sql::kMarkRemoved, "UPDATE bundle SET kept = 0, outcome = '' WHERE seq = ?"},
    {Sql::kQuietLines,
     "SELECT seq, last_event_at FROM line INDEXED BY line_quiet WHERE next_change IS NULL"
     " AND no_longer_kept_since IS NULL AND (last_event_at, seq) > (?, ?) AND last_event_at <= ?"
     " ORDER BY last_event_at, seq LIMIT ?"},
    {Sql::kBundlesOfLine,
     "SELECT bundle.open, bundle.state = 4 AND bundle.uncertain, bundle.settled_at"
     " FROM event CROSS JOIN bundle INDEXED BY bundle_event"
     " ON bundle.event_seq = event.seq AND bundle.event_seq > 0 WHERE event.line_seq = ?1"
     " UNION ALL"
     " SELECT open, state = 4 AND uncertain, settled_at FROM bundle INDEXED BY bundle_of_clock"
     " WHERE line_seq = ?1 AND event_seq = 0"},
    {Sql::kLineAwaits, "SELECT 1 FROM awaited WHERE line_seq = ? LIMIT 1"},
    {Sql::kEventsOfLine,
     "SELECT seq, source, id, kind, content, received_at FROM event WHERE line_seq = ?"},
    {Sql::kRemoveEvents, "DELETE FROM event WHERE line_seq = ?"},
    {Sql::kAddPastEvent,
     "INSERT INTO event(seq, line_seq, source, id, kind, content, received_at, raw)"
     " VALUES(?, ?, ?, ?, ?, ?, ?, x'')"},
    {Sql::kRemoveLine, "DELETE FROM line WHERE seq = ?"},
    {Sql::kAddPastLine,
     "INSERT INTO line(seq, source, line_id, bundles, last_event_at, no_longer_kept_since, issued,"
     " summary) VALUES(?, ?, ?, ?, ?, ?, x'', '')"},
    {Sql::kDecide,
     "UPDATE bundle SET state = ?1, open = ?2, head = head * ?2, not_before = 0,"
     " attempts = attempts * (1 - ?2), settled_at = ?3 WHERE seq = ?4"},
    {Sql::kAddDecision,
     "INSERT INTO decision(bundle_seq, decided_at, act, made_again_as, former_attempts, decided_by,"
     " why, former_why) VALUES(?, ?, ?, ?, ?, ?, ?, ?)"},
    {Sql::kDecisionsOfBundle,
     "SELECT seq, bundle_seq, decided_at, act, made_again_as, former_attempts, decided_by, why,"
     " former_why FROM decision WHERE bundle_seq = ? ORDER BY seq"},
    {Sql::kListLines,
     "SELECT seq, source, line_id, bundles, next_change, last_event_at, no_longer_kept_since,"
     " issued, summary, events, sum, damaged_since FROM line"
     " WHERE seq > ? ORDER BY seq LIMIT ?"},
    {Sql::kCountUnknownCode,
     "UPDATE unknown_code SET events = events + 1, last_seen = ? WHERE code_group = ?"
     " AND code = ?"},
    {Sql::kUnknownCodeRows, "SELECT max(seq) FROM unknown_code"},
    {Sql::kAddUnknownCode,
     "INSERT INTO unknown_code(code_group, code, events, first_seen, last_seen)"
     " VALUES(?, ?, 1, ?, ?)"},
    {Sql::kListUnknownCodes,
     "SELECT code_group, code, events, first_seen, last_seen FROM unknown_code WHERE seq > 0"
     " ORDER BY seq"},
    {Sql::kCountDoubtfulIdentifier,
     "UPDATE doubtful_identifier SET events = events + 1, last_seen = ? WHERE source = ?"
     " AND system = ?"},
    {Sql::kDoubtfulIdentifierRows, "SELECT max(seq) FROM doubtful_identifier"},
    {Sql::kAddDoubtfulIdentifier,
     "INSERT INTO doubtful_identifier(source, system, events, first_seen, last_seen)"
     " VALUES(?, ?, 1, ?, ?)"},
    {Sql::kListDoubtfulIdentifiers,
     "SELECT source, system, events, first_seen, last_seen FROM doubtful_identifier WHERE seq > 0"
     " ORDER BY seq"},
    {Sql::kListEndpoints,
     "SELECT seq, name, ready, in_progress, completed, on_hold, cancelled, identity FROM endpoint"
     " WHERE seq >= 0 ORDER BY seq"},
    {Sql::kAddEndpoint, "INSERT INTO endpoint(seq, name) VALUES(?, ?)"},
    {Sql::kCountEndpoint,
     "UPDATE endpoint SET ready = ?, in_progress = ?, completed = ?, on_hold = ?, cancelled = ?"
     " WHERE seq = ?"},
    {Sql::kKeepIdentity, "UPDATE endpoint SET identity = nullif(?, '') WHERE seq = ?"},
    {Sql::kFindWard, "SELECT seq FROM ward WHERE name = ?"},
    {Sql::kWardRows, "SELECT max(seq) FROM ward"},
    {Sql::kAddWard, "INSERT INTO ward(seq, name) VALUES(?, ?)"},
    {Sql::kLatestEvents,
     "SELECT source, received_at FROM event WHERE seq > (SELECT max(seq) FROM event) - ?"},
    {Sql::kLatestOfSource,
     "SELECT received_at FROM event WHERE seq ="
     " (SELECT max(seq) FROM event INDEXED BY event_key WHERE source = ?)"},
    {Sql::kFindNote, "SELECT text FROM note WHERE name = ?"},
    {Sql::kKeepNote, "INSERT OR REPLACE INTO note(name, text) VALUES(?, ?)"},
    {Sql::kKeepGap,
     "INSERT INTO source_gap(source, day, gap_min) VALUES(?, ?, ?)"
     " ON CONFLICT(source, day) DO UPDATE SET gap_min = excluded.gap_min"},
    {Sql::kForgetGaps, "DELETE FROM source_gap WHERE source = ? AND day <= ?"},
    {Sql::kListGaps, "SELECT day, gap_min FROM source_gap WHERE source = ? ORDER BY day"},
}};

constexpr bool InOrder() {
  for (std::size_t i = 0; i < kStatements.size(); ++i) {
    if (static_cast<std::size_t>(kStatements[i].sql) != i) return false;
  }
  return true;
}
static_assert(InOrder(), "statements stand in the order of their names");

}  // namespace

const char* SqlText(Sql sql) { return kStatements.at(static_cast<std::size_t>(sql)).text; }

}  // namespace dwell::store
