// Every limit of the daemon, in one place, with its unit and its reason.
#pragma once

#include <chrono>
#include <cstddef>
#include <cstdint>

namespace dwell::limits {

inline constexpr std::size_t kKiB = 1024;
inline constexpr std::size_t kMiB = 1024 * kKiB;

/// Head of a request: eight times what an ordinary client sends.
inline constexpr std::size_t kHeadBytesMax = 8 * kKiB;
/// One event: a full insertion record is under 4 KiB; notes and `extra` may be long.
inline constexpr std::size_t kEventBytesMax = 64 * kKiB;
/// Body of one request: a batch of about a thousand events.
inline constexpr std::size_t kBodyBytesMax = 4 * kMiB;
/// Lines in one batch.
inline constexpr std::size_t kBatchEventsMax = 1000;
/// Depth of an event: it is flat, deeper than this is no event.
inline constexpr std::size_t kEventDepthMax = 16;
/// Values in an event: a full insertion record has under 200; the rest is room for `extra`.
inline constexpr std::size_t kEventValuesMax = 5000;
/// Fields in the head of a request: an ordinary client sends ten.
inline constexpr std::size_t kHeaderFieldsMax = 64;
/// Open connections to the intake.
inline constexpr std::size_t kConnectionsMax = 512;
/// Connections above that which get a reasoned refusal; beyond them they are just closed.
inline constexpr std::size_t kTurnedAwayMax = 64;
/// When the process is out of file descriptors, trying again at once would only burn the processor.
inline constexpr std::chrono::milliseconds kAcceptPause{100};
/// After a refusal the sender may still be writing; closing at once would reset the connection and
/// the answer could be lost on its way (RFC 9112 section 9.6). A second is ten round trips round
/// the world; the bytes are what fits into one at some 2 Mbit/s.
inline constexpr std::chrono::milliseconds kLingerTimeMax{1000};
inline constexpr std::size_t kLingerBytesMax = 256 * kKiB;
/// From the first byte of a request to its last.
inline constexpr std::chrono::seconds kRequestTimeMax{30};
/// Between two requests on one connection.
inline constexpr std::chrono::seconds kIdleTimeMax{60};
/// How far an event may lie in the future: the clocks of ward devices differ by minutes.
inline constexpr std::chrono::minutes kFutureMax{5};
/// Wards that take turns in delivery: several times those of a large hospital. A source that writes
/// anything as a ward must not fill the store; what is beyond shares one turn.
inline constexpr std::size_t kWardsMax = 1000;
/// Bundles that wait for delivery before the intake says 503: twice what tests/bench/backlog was
/// measured with (memory does not grow with it, the file by some 6 KiB each), days of a large
/// hospital.
inline constexpr std::uint64_t kQueueBundlesMax = 2'000'000;
/// What 503 tells the sender in Retry-After.
inline constexpr std::chrono::seconds kRetryAfter{5};
/// Free space that must remain on the store's file system: room for delivery's bookkeeping.
inline constexpr std::uint64_t kStoreFreeBytesMin = 64 * kMiB;
/// Events that share one transaction: beyond this the commit takes longer than it saves, and
/// delivery waits too long for its turn.
inline constexpr std::size_t kEventsPerCommitMax = 128;
/// Events of the lines that the ledger keeps in memory: some 2 KiB each, so about 200 MiB.
inline constexpr std::size_t kCachedEventsMax = 100'000;
/// Pages of lines that one search for Tasks may read, each a job of some 30 ms: a request is
/// answered within seconds, and what is behind has a link of its own.
inline constexpr std::size_t kSearchPagesMax = 100;
/// Lines that the clock looks at in one transaction: some 20 ms of work, so that intake is not kept
/// waiting behind a long catching up.
inline constexpr std::size_t kCatchUpLinesMax = 200;
/// How long a line that cannot be worked with is put off, so that it does not keep the clock from
/// the others.
inline constexpr std::chrono::hours kLinePutOff{1};
/// First and longest wait before the clock tries again what could not be stored (full disk): so
/// late at most is a due thing told once there is room; sooner when an event could be stored.
inline constexpr std::chrono::seconds kAlarmAgainMin{1};
inline constexpr std::chrono::seconds kAlarmAgainMax{30};
/// Bundles in flight to the endpoint at once.
inline constexpr std::size_t kInFlightMax = 16;
/// Entries and bytes of a request that several bundles share: some sixty bundles. Servers limit
/// both, mostly by more than this; a larger request also keeps its answer longer on the way.
inline constexpr std::size_t kShareEntriesMax = 500;
inline constexpr std::size_t kShareBytesMax = kMiB;
/// The endpoint's statement is read so often: it changes with the endpoint's version.
inline constexpr std::chrono::hours kStatementEvery{1};
/// And after a pause, but not when it was read a moment ago: an overloaded endpoint pauses often.
inline constexpr std::chrono::minutes kStatementRest{5};
/// A limit that the endpoint was seen to have is tried again after this, one step up: it costs one
/// refused request a day.
inline constexpr std::chrono::hours kShareRegrowAfter{24};
/// Response of the endpoint that we are ready to read.
inline constexpr std::size_t kResponseBytesMax = 4 * kMiB;
/// One delivery attempt, from connecting to the last byte of the answer.
inline constexpr std::chrono::seconds kAttemptTimeMax{30};
/// A kept connection to the endpoint rests at most this long: shorter than the shortest keep-alive
/// limit in common use (5 s), so that we rarely meet one that the peer just closed.
inline constexpr std::chrono::seconds kClientIdleTimeMax{4};
/// A kept connection lives at most this long: then the name is looked up again.
inline constexpr std::chrono::seconds kClientLifeTimeMax{60};
/// First and longest wait between attempts.
inline constexpr std::chrono::seconds kBackoffMin{1};
inline constexpr std::chrono::seconds kBackoffMax{900};
/// Longest Retry-After that is obeyed.
inline constexpr std::chrono::hours kRetryAfterMax{24};
/// A clock that is behind what the store remembers by more than this was set back meanwhile; less
/// is what clocks are corrected by.
inline constexpr std::chrono::seconds kSetBackMin{60};
/// What is kept of a refusal, to show to a person.
inline constexpr std::size_t kOutcomeBytesMax = 4 * kKiB;
/// What is kept of an answer that is no OperationOutcome (a proxy's page, for example).
inline constexpr std::size_t kExcerptBytesMax = 200;
/// Conflicts and missing targets may settle themselves when something else arrives; not for ever.
inline constexpr std::uint32_t kConflictAttemptsMax = 8;
/// A bundle that makes the endpoint fail each time is held after about three hours of backoff.
inline constexpr std::uint32_t kFaultAttemptsMax = 20;
/// A bundle waits so long for its patient or encounter to become known to the endpoint: what was
/// registered under a provisional number is put right within a working week. Common practice, no
/// source.
inline constexpr std::chrono::hours kUnknownTargetTimeMax{7 * 24};
/// Patients and encounters whose ids are remembered: more than a large hospital has in its beds;
/// some 300 bytes each.
inline constexpr std::size_t kFoundMax = 20'000;
/// The file with the endpoint's bearer token: signed tokens are 1-2 KiB.
inline constexpr std::size_t kTokenBytesMax = 8 * kKiB;
/// What a token endpoint answers: a token, its life and its scope.
inline constexpr std::size_t kTokenAnswerBytesMax = 32 * kKiB;
/// Life of the signed statement that asks for a token. SMART App Launch 2.2.0
/// (client-confidential-asymmetric) allows five minutes; one is left for clocks that differ.
inline constexpr std::chrono::minutes kAssertionLife{4};
/// Life of a token whose issuer does not tell it, though SMART says it must: long enough to be
/// used.
inline constexpr std::chrono::seconds kTokenLifeDefault{60};
/// Longest life of a token that is believed.
inline constexpr std::chrono::hours kTokenLifeMax{24};
/// A token is renewed so long before its end at the earliest: many times what a renewal takes.
inline constexpr std::chrono::seconds kTokenRenewMarginMax{60};
/// It is not used so shortly before its end: a request takes its way.
inline constexpr std::chrono::seconds kTokenEndMarginMax{5};
/// After the token endpoint refused us: a person must do something, and some servers lock out who
/// asks too often.
inline constexpr std::chrono::seconds kTokenRefusedPause{60};
/// A clock that differs from the endpoint's by more is spoken of: a signed statement then loses a
/// quarter of its life, and times of resources look wrong.
inline constexpr std::chrono::seconds kClockSkewMax{60};
/// The endpoint's clock is looked at once in this time.
inline constexpr std::chrono::seconds kClockLook{60};
/// Connections to the admin socket: a few people and scripts at a time.
inline constexpr std::size_t kOperatorsMax = 16;
/// One request on the admin socket: a body of events as a JSON string may be twice as long as
/// itself.
inline constexpr std::size_t kAdminLineBytesMax = 2 * kBodyBytesMax + kKiB;
/// Rows that one question to the store may take: its thread has other work to do.
inline constexpr std::size_t kListingRowsMax = 500;
/// Who decides about a delivery, and why, in bytes: a staff number or a name; a sentence or three.
inline constexpr std::size_t kDecidedByBytesMax = 64;
inline constexpr std::size_t kDecisionWhyBytesMax = 500;
/// Deliveries decided about in one transaction: each may make the resources of its line anew.
inline constexpr std::size_t kDecisionsMax = 100;
/// Lines looked at, and events and stored bundles of them read, in one transaction that derives
/// lines again: some 30 ms of work, so that intake is not kept waiting. One line is always taken
/// whole.
inline constexpr std::size_t kRemapLinesMax = 50;
inline constexpr std::size_t kRemapPiecesMax = 300;
/// Places told in which one resource differs: enough to see what happened.
inline constexpr std::size_t kRemapChangesMax = 40;
/// Between two tries to have lines follow new rules while the disk or the queue is full.
inline constexpr std::chrono::seconds kFollowingPause{10};
/// Lines looked at, and stored bundles of them read, in one transaction that looks for what is to
/// be read back: some 20 ms of work, as above.
inline constexpr std::size_t kAcceptedLinesMax = 200;
inline constexpr std::size_t kAcceptedBundlesMax = 200;
/// Entries of one bundle that carries again what was lost: as many as the largest of our own have.
inline constexpr std::size_t kSentAgainEntriesMax = 50;
/// Reads of the reconciliation in flight at once: deliveries go before it.
inline constexpr std::size_t kReadsInFlightMax = 4;
/// One read, or one look-up beside it: a few of them must end before an operator's patience
/// (kAdminSilenceMax) does.
inline constexpr std::chrono::seconds kReadTimeMax{15};
/// So long the reconciliation works before it tells how far it is.
inline constexpr std::chrono::milliseconds kReadStepTime{1000};
/// A read without an answer is repeated, then told as unreadable.
inline constexpr std::uint32_t kReadAttemptsMax = 3;
/// So long a patient that was looked up for a comparison is remembered.
inline constexpr std::chrono::minutes kFoundForReading{10};
/// A reconciliation that runs by itself first does so this long after the start: a daemon that is
/// started again and again must not read all day, and one that is started every day must get there.
inline constexpr std::chrono::minutes kFirstReconciliation{10};
/// A resource was changed by somebody else when the endpoint says so by more than this after it
/// said yes to us: its times are told in seconds (Date), and the answer was on its way.
inline constexpr std::chrono::seconds kChangedSinceMargin{5};
/// Places told in which one resource differs.
inline constexpr std::size_t kDifferencesMax = 20;
/// One step of the clean-up, in bundles, or in pages of 8 KiB that are given back: some
/// milliseconds of the store thread, so that intake is not kept waiting.
inline constexpr std::size_t kBodiesRemovedMax = 50;
inline constexpr std::size_t kPagesGivenBackMax = 32;
/// Between two steps, so that the store thread is mostly there for others. Where room is short the
/// pause is longer than the store needs to move its log into the file: the log stays small.
inline constexpr std::chrono::milliseconds kCleanUpPause{10};
inline constexpr std::chrono::milliseconds kCleanUpPauseNoRoom{1000};
/// Lines looked at, and events of them read, in one step that removes lines which ended long ago:
/// some milliseconds as well. One line is always taken whole.
inline constexpr std::size_t kQuietLinesMax = 25;
inline constexpr std::size_t kQuietEventsMax = 200;
/// From one clean-up to the next: often, so that each is small.
inline constexpr std::chrono::hours kCleanUpEvery{1};
/// Nothing is removed by its age while the newest event was recorded longer ago than this: either
/// the clock is wrong, or the wards are so quiet that there is no hurry.
inline constexpr std::chrono::hours kCleanUpQuietMax{7 * 24};
/// Free pages that stay in the file (16 MiB): the next hours fill them again, and to give them back
/// only to ask for them anew is work for nothing.
inline constexpr std::uint64_t kFreePagesKept = 2048;
/// The daemon answers an operator a page at a time; a minute without a byte means it is stuck.
inline constexpr std::chrono::seconds kAdminSilenceMax{60};
/// Sources whose last event is told one by one: many times those of a large hospital; a sender that
/// makes names up must not fill the memory of whoever collects metrics.
inline constexpr std::size_t kSourcesMax = 200;
/// Newest events that are looked through at the start for the sources that send: some milliseconds.
/// The others are looked up one by one.
inline constexpr std::size_t kSourceEventsMax = 2'000;
/// Different unknown codes that are counted one by one: a source with a mapping left out sends a
/// few dozen; more is a source gone wrong, and must not fill the store.
inline constexpr std::size_t kUnknownCodesMax = 200;
/// Different pairs of source and system whose doubtful identifiers are counted one by one: a few
/// systems for each source of a hospital.
inline constexpr std::size_t kDoubtfulIdentifiersMax = 200;
/// A configuration or policy file: hundreds of times what one needs.
inline constexpr std::size_t kConfigBytesMax = kMiB;
/// From one look at the daemon's threads to the next, on the steady clock: short against what
/// follows, long for a CPU.
inline constexpr std::chrono::milliseconds kBeat{1000};
/// A thread that has not answered for so long is stuck: the longest piece of work, moving 64 MiB of
/// log into the file, takes a second or two on a slow disk. Twice that fits into the 30 s that
/// the unit grants.
inline constexpr std::chrono::milliseconds kStuckAfter{10'000};
/// Metrics wait so long for the store's thread, then go without what it knows: a collector's own
/// patience is mostly 10 s.
inline constexpr std::chrono::milliseconds kSurveyTimeMax{2000};
/// Connections to the listener of operations: a few collectors and probes at a time.
inline constexpr std::size_t kMonitorsMax = 16;
/// Its requests have no body; some clients send an empty one.
inline constexpr std::size_t kMonitorBodyBytesMax = kKiB;
/// SIGTERM to exit.
inline constexpr std::chrono::seconds kDrainTimeMax{20};

}  // namespace dwell::limits
