#include "daemon/store/migrations.h"

#include <array>

namespace dwell::store {
namespace {

// Instants are milliseconds since 1970 UTC. Small columns stand first, so that reading them never
// touches the overflow pages of a long text. A bundle's body has a table of its own: a change of
// state would otherwise write the body again. rowid tables: an index-organised table spills our
// long rows and was measured at a third of the speed.
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
  why TEXT NOT NULL,
  outcome TEXT NOT NULL
);
CREATE INDEX bundle_claimable ON bundle(not_before) WHERE head = 1 AND state = 0;
CREATE INDEX bundle_lane ON bundle(line_seq) WHERE open = 1;
CREATE INDEX bundle_open ON bundle(open) WHERE open = 1;
CREATE INDEX bundle_event ON bundle(event_seq) WHERE event_seq > 0;

CREATE TABLE body(
  bundle_seq INTEGER PRIMARY KEY REFERENCES bundle(seq),
  text BLOB NOT NULL
);
)sql";

constexpr std::array<const char*, 1> kSteps{kVersion1};

}  // namespace

std::span<const char* const> MigrationSteps() { return kSteps; }

}  // namespace dwell::store
