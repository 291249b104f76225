// The file: made whole, locked, refused untouched when it is not ours to write.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sqlite3.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <filesystem>

#include "daemon/store/connection.h"
#include "daemon/store/migrations.h"
#include "tests/daemon/store/store_records.h"

namespace dwell::store {
namespace {

using test::ReadBytes;
using test::WriteBytes;
using testing::HasSubstr;

class File : public testing::Test {
 protected:
  // A store with one line, closed in good order.
  std::string MakeStore() {
    auto store = OpenStore(path_);
    Good(store->Begin());
    AddLine(*store, "a");
    Good(store->Commit());
    Good(store->Finish());
    return ReadBytes(path_);
  }
  void RunSql(const std::string& sql) {
    sqlite3* db = nullptr;
    ASSERT_EQ(sqlite3_open(path_.c_str(), &db), SQLITE_OK);
    ASSERT_EQ(sqlite3_exec(db, sql.c_str(), nullptr, nullptr, nullptr), SQLITE_OK) << sql;
    sqlite3_close(db);
  }
  void ExpectRefused(ErrorKind kind) {
    const std::string before = ReadBytes(path_);
    const auto opened = Store::Open(path_);
    ASSERT_TRUE(opened.has_error());
    EXPECT_EQ(opened.error().kind(), kind) << opened.error().message();
    EXPECT_EQ(ReadBytes(path_), before) << "the refused file was changed";
  }

  test::TempFolder folder_;
  std::string path_ = folder_ / "store";
};

TEST_F(File, ANewStoreIsMadeWholeAndOnlyItsOwnerMayReadIt) {
  OpenStore(path_);
  struct stat status {};
  ASSERT_EQ(::stat(path_.c_str(), &status), 0);
  EXPECT_EQ(status.st_mode & 0777, 0600u);
  const std::string bytes = ReadBytes(path_);
  EXPECT_EQ(bytes.substr(0, 15), "SQLite format 3");
  EXPECT_EQ(bytes.substr(68, 4), "dwel");
  for (const auto& entry : std::filesystem::directory_iterator(folder_.path())) {
    EXPECT_THAT(entry.path().string(), testing::Not(HasSubstr(".new"))) << "draft left behind";
  }
}

TEST_F(File, AStoreIsReopenedWithWhatItHeld) {
  MakeStore();
  EXPECT_TRUE(Good(OpenStore(path_)->LoadLine(line::Key{"ward-tablets", "a"})).has_value());
}

TEST_F(File, AFolderThatDoesNotExistIsAnIoError) {
  const auto opened = Store::Open(folder_ / "none/store");
  ASSERT_TRUE(opened.has_error());
  EXPECT_EQ(opened.error().kind(), ErrorKind::kIo);
}

TEST_F(File, ASecondProcessIsRefusedAndTheFirstIsUnharmed) {
  auto store = OpenStore(path_);
  const pid_t child = ::fork();
  if (child == 0) {
    const auto second = Store::Open(path_);
    const bool refused = second.has_error() && second.error().kind() == ErrorKind::kBusy;
    ::_exit(refused ? 0 : 1);
  }
  int status = 0;
  ASSERT_EQ(::waitpid(child, &status, 0), child);
  EXPECT_TRUE(WIFEXITED(status) && WEXITSTATUS(status) == 0);
  Good(store->Begin());
  AddLine(*store, "a");
  Good(store->Commit());
  // The refused one must not have taken our lock with it.
  const auto again = Store::Open(path_);
  ASSERT_TRUE(again.has_error());
  EXPECT_EQ(again.error().kind(), ErrorKind::kBusy);
}

TEST_F(File, AFileThatIsNoDatabaseIsForeign) {
  WriteBytes(path_, "these are somebody's notes");
  ExpectRefused(ErrorKind::kForeign);
  WriteBytes(path_, std::string(9000, 'x'));
  ExpectRefused(ErrorKind::kForeign);
  WriteBytes(path_, "");
  ExpectRefused(ErrorKind::kForeign);
}

TEST_F(File, AnotherProgramsDatabaseIsForeign) {
  RunSql("CREATE TABLE notes(text); INSERT INTO notes VALUES('x')");
  ExpectRefused(ErrorKind::kForeign);
  RunSql("PRAGMA application_id = 42");
  ExpectRefused(ErrorKind::kForeign);
}

TEST_F(File, AFolderOfThatNameIsForeign) {
  ASSERT_EQ(::mkdir(path_.c_str(), 0700), 0);
  const auto opened = Store::Open(path_);
  ASSERT_TRUE(opened.has_error());
  EXPECT_EQ(opened.error().kind(), ErrorKind::kForeign);
}

TEST_F(File, ANewerStoreIsRefusedEvenWhenOnlyTheLogSaysSo) {
  MakeStore();
  const std::string newer = std::to_string(StoreVersion() + 1);
  RunSql("PRAGMA user_version = " + newer);
  ExpectRefused(ErrorKind::kForeign);

  std::filesystem::remove(path_);
  MakeStore();
  sqlite3* db = nullptr;
  ASSERT_EQ(sqlite3_open(path_.c_str(), &db), SQLITE_OK);
  sqlite3_db_config(db, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 1, nullptr);
  ASSERT_EQ(sqlite3_exec(db, ("PRAGMA user_version = " + newer).c_str(), nullptr, nullptr, nullptr),
            SQLITE_OK);
  sqlite3_close(db);
  const std::string log = ReadBytes(path_ + "-wal");
  ASSERT_FALSE(log.empty());
  ExpectRefused(ErrorKind::kForeign);
  EXPECT_EQ(ReadBytes(path_ + "-wal"), log);
}

TEST_F(File, ADamagedStoreIsRefused) {
  const std::string whole = MakeStore();
  WriteBytes(path_, whole.substr(0, whole.size() - 8192));
  ExpectRefused(ErrorKind::kCorrupt);
  // Overwrite each page after the first in turn: whatever it held, the damage is seen.
  int damaged = 0;
  for (std::size_t page = 2; page * 8192 <= whole.size() - 8192; ++page) {
    std::string bytes = whole;
    bytes.replace(page * 8192, 4096, 4096, '\xee');
    WriteBytes(path_, bytes);
    std::filesystem::remove(path_ + "-wal");
    ExpectRefused(ErrorKind::kCorrupt);
    ++damaged;
  }
  EXPECT_GE(damaged, 5);
}

TEST_F(File, ALogWithoutItsFileIsRefusedInsteadOfStartingAnew) {
  WriteBytes(path_ + "-wal", std::string(100, 'w'));
  const auto opened = Store::Open(path_);
  ASSERT_TRUE(opened.has_error());
  EXPECT_EQ(opened.error().kind(), ErrorKind::kCorrupt);
  EXPECT_FALSE(std::filesystem::exists(path_));
  EXPECT_EQ(ReadBytes(path_ + "-wal").size(), 100u);
}

TEST_F(File, MigrationStepsRunInOrderEachWhole) {
  sqlite3* db = nullptr;
  ASSERT_EQ(sqlite3_open(":memory:", &db), SQLITE_OK);
  const DatabaseHandle closer(db);
  constexpr const char* kSteps[] = {
      "CREATE TABLE t(n INTEGER UNIQUE); INSERT INTO t VALUES(1)", "INSERT INTO t VALUES(2)",
      "INSERT INTO t VALUES(3); INSERT INTO t VALUES(2)",  // does not fit: 2 is there
  };
  Good(Migrate(db, 0, std::span(kSteps, 1)));
  EXPECT_EQ(Good(ReadNumber(db, "PRAGMA user_version")), 1);
  const auto failed = Migrate(db, 1, kSteps);
  ASSERT_TRUE(failed.has_error());
  EXPECT_EQ(failed.error().kind(), ErrorKind::kCorrupt);
  EXPECT_EQ(Good(ReadNumber(db, "PRAGMA user_version")), 2);
  EXPECT_EQ(Good(ReadNumber(db, "SELECT sum(n) FROM t")), 3);
}

TEST_F(File, TheRoomThatMustRemainFreeIsAskedOfTheFileSystem) {
  EXPECT_TRUE(Good(Store::Open(path_, {.free_bytes_min = 1}))->HasRoom());
  EXPECT_FALSE(Good(Store::Open(folder_ / "other", {.free_bytes_min = 1ULL << 62}))->HasRoom());
}

TEST_F(File, ACheckpointEmptiesTheLogIntoTheFile) {
  auto store = OpenStore(path_);
  for (int i = 0; i < 3; ++i) {
    Good(store->Begin());
    AddLine(*store, "line-" + std::to_string(i));
    Good(store->Commit());
  }
  EXPECT_GT(store->log_pages(), 0u);
  EXPECT_EQ(ReadBytes(path_).find("line-2"), std::string::npos);
  Good(store->Checkpoint());
  EXPECT_EQ(store->log_pages(), 0u);
  EXPECT_NE(ReadBytes(path_).find("line-2"), std::string::npos);
  Good(store->Finish());
  EXPECT_EQ(ReadBytes(path_ + "-wal").size(), 0u);
}

}  // namespace
}  // namespace dwell::store
