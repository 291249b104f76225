// A file of the version before awaited ids were remembered is given them once.
#include <gtest/gtest.h>
#include <sqlite3.h>

#include "daemon/store/connection.h"
#include "daemon/store/migrations.h"
#include "tests/daemon/store/store_records.h"

namespace dwell::store {
namespace {

TEST(Awaited, AnOlderFileIsGivenTheIdsThatItsEventsWaitFor) {
  sqlite3* db = nullptr;
  ASSERT_EQ(sqlite3_open(":memory:", &db), SQLITE_OK);
  const DatabaseHandle closer(db);
  Good(Migrate(db, 0, MigrationSteps().first(1)));
  Good(Execute(db, R"sql(
INSERT INTO line(seq, source, line_id, bundles, issued, summary) VALUES(7, 's', 'l', 0, '', '');
INSERT INTO event(line_seq, source, id, kind, content, received_at, raw) VALUES
  (7, 's', 'c1', 'site-check', '', 0, CAST('{"id":"c1"}' AS BLOB)),
  (7, 's', 'c2', 'site-check', '', 0, CAST('{"id":"c2","replaces":"c1"}' AS BLOB)),
  (7, 's', 'd2', 'site-check', '', 0, CAST('{"id":"d2","replaces":"d1"}' AS BLOB)),
  (7, 's', 'r', 'retraction', '', 0, CAST('{"id":"r","retracts":"x"}' AS BLOB)),
  (7, 's', 'broken', 'flush', '', 0, CAST('{' AS BLOB));
)sql"));
  Good(Migrate(db, 1, MigrationSteps().first(2)));
  const auto count = [&](const char* where) {
    return Good(ReadNumber(db, (std::string("SELECT count(*) FROM awaited") + where).c_str()));
  };
  EXPECT_EQ(count(""), 2);
  EXPECT_EQ(count(" WHERE source = 's' AND id = 'd1' AND line_seq = 7"), 1);
  EXPECT_EQ(count(" WHERE source = 's' AND id = 'x' AND line_seq = 7"), 1);
}

}  // namespace
}  // namespace dwell::store
