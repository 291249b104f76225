#include "daemon/store/migrations.h"

#include <array>

namespace dwell::store {
namespace {

// Instants are milliseconds since 1970 UTC. Small columns stand first, so that reading them never
// touches the overflow pages of a long text. A bundle's body has a table of its own: a change of
// state would otherwise write the body again; it is packed (packing.h). rowid tables: an
// index-organised table spills our long rows and was measured at a third of the speed.
constexpr const char* kVersion1 = R"sql(
CREATE TABLE counts(
  id INTEGER PRIMARY KEY CHECK (id = 1),
  events INTEGER NOT NULL, lines INTEGER NOT NULL, ready INTEGER NOT NULL,
  in_progress INTEGER NOT NULL, completed INTEGER NOT NULL, on_hold INTEGER NOT NULL,
  cancelled INTEGER NOT NULL
);
INSERT INTO counts VALUES(1, 0, 0, 0, 0, 0, 0, 0);

CREATE TABLE line(
  seq INTEGER PRIMARY KEY,
  source TEXT NOT NULL,
  line_id TEXT NOT NULL,
  bundles INTEGER NOT NULL,
  next_change INTEGER,
  issued BLOB NOT NULL,
  summary TEXT NOT NULL
);
CREATE UNIQUE INDEX line_key ON line(source, line_id);
CREATE INDEX line_next_change ON line(next_change) WHERE next_change IS NOT NULL;

CREATE TABLE event(
  seq INTEGER PRIMARY KEY,
  line_seq INTEGER NOT NULL REFERENCES line(seq),
  source TEXT NOT NULL,
  id TEXT NOT NULL,
  kind TEXT NOT NULL,
  content BLOB NOT NULL,
  received_at INTEGER NOT NULL,
  raw BLOB NOT NULL
);
CREATE UNIQUE INDEX event_key ON event(source, id);
CREATE INDEX event_line ON event(line_seq);

CREATE TABLE bundle(
  seq INTEGER PRIMARY KEY,
  line_seq INTEGER NOT NULL REFERENCES line(seq),
  event_seq INTEGER NOT NULL,
  made_at INTEGER NOT NULL,
  state INTEGER NOT NULL,
  open INTEGER NOT NULL,
  head INTEGER NOT NULL,
  not_before INTEGER NOT NULL,
  attempts INTEGER NOT NULL,
  uncertain INTEGER NOT NULL,
  settled_at INTEGER,
  entries INTEGER NOT NULL,
  why TEXT NOT NULL,
  outcome TEXT NOT NULL
);
CREATE INDEX bundle_claimable ON bundle(not_before) WHERE head = 1 AND state = 0;
CREATE INDEX bundle_lane ON bundle(line_seq) WHERE open = 1;
CREATE INDEX bundle_open ON bundle(open) WHERE open = 1;
CREATE INDEX bundle_event ON bundle(event_seq) WHERE event_seq > 0;

CREATE TABLE body(
  bundle_seq INTEGER PRIMARY KEY REFERENCES bundle(seq),
  packed BLOB NOT NULL
);
)sql";

// Ids that an event names (`replaces`, `retracts`) and that have not come, with the line of that
// event. Filled once from what an older file holds; an event that is no JSON any more is passed by.
constexpr const char* kVersion2 = R"sql(
CREATE TABLE awaited(
  source TEXT NOT NULL,
  id TEXT NOT NULL,
  line_seq INTEGER NOT NULL REFERENCES line(seq)
);
CREATE UNIQUE INDEX awaited_key ON awaited(source, id);

INSERT OR IGNORE INTO awaited
SELECT source, target, line_seq FROM (
  SELECT source, line_seq, json_extract(text, '$.replaces') AS target FROM (
    SELECT source, line_seq, CAST(raw AS TEXT) AS text FROM event) WHERE json_valid(text)
  UNION ALL
  SELECT source, line_seq, json_extract(text, '$.retracts') AS target FROM (
    SELECT source, line_seq, CAST(raw AS TEXT) AS text FROM event) WHERE json_valid(text)
) AS named
WHERE target IS NOT NULL AND NOT EXISTS (
  SELECT 1 FROM event WHERE event.source = named.source AND event.id = named.target);
)sql";

// Codes of events that the code maps did not know, by group of our CodeSystem; the row without a
// code counts what came when there was no room for more rows. Rows stay, so that the last seq says
// how many there are.
constexpr const char* kVersion3 = R"sql(
CREATE TABLE unknown_code(
  seq INTEGER PRIMARY KEY,
  code_group TEXT NOT NULL,
  code TEXT NOT NULL,
  events INTEGER NOT NULL,
  first_seen INTEGER NOT NULL,
  last_seen INTEGER NOT NULL
);
CREATE UNIQUE INDEX unknown_code_key ON unknown_code(code_group, code);
)sql";

// Patient identifiers that look wrong and may be right, by source of the event and system of the
// identifier, never by their value; the row without a system counts as above.
constexpr const char* kVersion4 = R"sql(
CREATE TABLE doubtful_identifier(
  seq INTEGER PRIMARY KEY,
  source TEXT NOT NULL,
  system TEXT NOT NULL,
  events INTEGER NOT NULL,
  first_seen INTEGER NOT NULL,
  last_seen INTEGER NOT NULL
);
CREATE UNIQUE INDEX doubtful_identifier_key ON doubtful_identifier(source, system);
)sql";

// What persons decided about deliveries on hold; `act` is Act. Rows are only ever added: the
// triggers keep it so whoever writes. The second index finds what is on hold among a million that
// wait.
constexpr const char* kVersion5 = R"sql(
CREATE TABLE decision(
  seq INTEGER PRIMARY KEY,
  bundle_seq INTEGER NOT NULL REFERENCES bundle(seq),
  decided_at INTEGER NOT NULL,
  act INTEGER NOT NULL,
  made_again_as INTEGER NOT NULL,
  former_attempts INTEGER NOT NULL,
  decided_by TEXT NOT NULL,
  why TEXT NOT NULL,
  former_why TEXT NOT NULL
);
CREATE INDEX decision_bundle ON decision(bundle_seq);
CREATE TRIGGER decision_stays BEFORE UPDATE ON decision
  BEGIN SELECT RAISE(ABORT, 'decisions are kept as they were made'); END;
CREATE TRIGGER decision_remains BEFORE DELETE ON decision
  BEGIN SELECT RAISE(ABORT, 'decisions are kept'); END;
CREATE INDEX bundle_on_hold ON bundle(state) WHERE state = 3;
)sql";

// Whether a bundle's body is still stored, and which bodies may go, by age: never what was
// cancelled while nobody knew whether it had arrived. The row itself stays: it says what became of
// an event, decisions name it, and its number must never be given again.
constexpr const char* kVersion6 = R"sql(
ALTER TABLE bundle ADD COLUMN kept INTEGER NOT NULL DEFAULT 1;
CREATE INDEX bundle_past ON bundle(settled_at)
  WHERE open = 0 AND kept = 1 AND (state = 2 OR uncertain = 0);
)sql";

// A line's bundles are found by its events, and those without an event by this: deriving a line
// again looks for what was last issued. Bundles of events pay nothing for it.
constexpr const char* kVersion7 = R"sql(
CREATE INDEX bundle_of_clock ON bundle(line_seq) WHERE event_seq = 0;
)sql";

// A lane is a line's way to one endpoint. Endpoints and wards are numbers in a bundle; rows stay,
// so that a name always means the same. What an older file holds goes where it was meant to go,
// the endpoint 0; its wards are not known (0). The counts of the main endpoint are those of
// `counts` without the others'. What may be claimed is ordered by ward, so that a long queue of one
// does not stand before the short one of another.
constexpr const char* kVersion8 = R"sql(
CREATE TABLE endpoint(
  seq INTEGER PRIMARY KEY,
  name TEXT NOT NULL UNIQUE,
  ready INTEGER NOT NULL DEFAULT 0, in_progress INTEGER NOT NULL DEFAULT 0,
  completed INTEGER NOT NULL DEFAULT 0, on_hold INTEGER NOT NULL DEFAULT 0,
  cancelled INTEGER NOT NULL DEFAULT 0
);
INSERT INTO endpoint(seq, name) VALUES(0, 'main');
CREATE TABLE ward(seq INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE);
INSERT INTO ward VALUES(0, '');

ALTER TABLE bundle ADD COLUMN endpoint INTEGER NOT NULL DEFAULT 0;
ALTER TABLE bundle ADD COLUMN ward INTEGER NOT NULL DEFAULT 0;
DROP INDEX bundle_claimable;
CREATE INDEX bundle_claimable ON bundle(endpoint, ward, not_before) WHERE head = 1 AND state = 0;
DROP INDEX bundle_lane;
CREATE INDEX bundle_lane ON bundle(line_seq, endpoint) WHERE open = 1;
)sql";

// When a line last got an event, and since when neither its events' bytes nor its own state are
// kept any more. The first index finds what may go, by age, without the lines that the clock still
// looks at; the second what an event of a line waits for.
constexpr const char* kVersion9 = R"sql(
ALTER TABLE line ADD COLUMN last_event_at INTEGER NOT NULL DEFAULT 0;
ALTER TABLE line ADD COLUMN no_longer_kept_since INTEGER;
UPDATE line SET last_event_at =
  coalesce((SELECT max(received_at) FROM event WHERE event.line_seq = line.seq), 0);
CREATE INDEX line_quiet ON line(last_event_at)
  WHERE next_change IS NULL AND no_longer_kept_since IS NULL;
CREATE INDEX awaited_line ON awaited(line_seq);
)sql";

// By what an endpoint knows our resources again, in the words of delivery; NULL: it holds nothing
// of ours, or of an older file nobody knows.
constexpr const char* kVersion10 = R"sql(
ALTER TABLE endpoint ADD COLUMN identity TEXT;
)sql";

// What the program must remember of its own, in a few words each.
constexpr const char* kVersion11 = R"sql(
CREATE TABLE note(name TEXT PRIMARY KEY NOT NULL, text TEXT NOT NULL);
)sql";

// How many events a line has and a sum over what its row says, so that a bit that the disk changed
// is noticed; rows of before have neither until they are written the next time. Since when a line
// is known to be damaged.
constexpr const char* kVersion12 = R"sql(
ALTER TABLE line ADD COLUMN events INTEGER;
ALTER TABLE line ADD COLUMN sum INTEGER;
ALTER TABLE line ADD COLUMN damaged_since INTEGER;
CREATE INDEX line_damaged ON line(damaged_since) WHERE damaged_since IS NOT NULL;
)sql";

// The longest gap between two events of a source that ended on a day (days since 1970, UTC): what
// is usual for it, see silence.h. A file of before learns it in the days that follow.
constexpr const char* kVersion13 = R"sql(
CREATE TABLE source_gap(
  source TEXT NOT NULL,
  day INTEGER NOT NULL,
  gap_min INTEGER NOT NULL,
  PRIMARY KEY(source, day)
) WITHOUT ROWID;
)sql";

constexpr std::array<const char*, 13> kSteps{
    kVersion1, kVersion2, kVersion3,  kVersion4,  kVersion5,  kVersion6, kVersion7,
    kVersion8, kVersion9, kVersion10, kVersion11, kVersion12, kVersion13};

}  // namespace

std::span<const char* const> MigrationSteps() { return kSteps; }

}  // namespace dwell::store
