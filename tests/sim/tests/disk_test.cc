// The disk really forgets what was not synced, and keeps what was.
#include "tests/sim/disk.h"

#include <gtest/gtest.h>
#include <sqlite3.h>

#include <set>

namespace dwell::sim {
namespace {

std::shared_ptr<Inode> Opened(Disk& disk, const std::string& path) {
  std::shared_ptr<Inode> inode;
  EXPECT_EQ(disk.Open(path, true, inode), Code::kGood);
  return inode;
}

TEST(Disk, WhatWasSyncedIsThereAfterEveryPowerCut) {
  for (std::uint64_t seed = 0; seed < 200; ++seed) {
    Disk disk(seed);
    const auto inode = Opened(disk, "log");
    ASSERT_EQ(disk.Write(*inode, 0, std::string(1000, 'a')), Code::kGood);
    ASSERT_EQ(disk.Sync(*inode, true), Code::kGood);
    ASSERT_EQ(disk.Write(*inode, 1000, "never synced"), Code::kGood);
    disk.Cut();
    disk.Restore();
    ASSERT_NE(disk.Find("log"), nullptr);
    EXPECT_EQ(disk.Find("log")->now.substr(0, 1000), std::string(1000, 'a'));
  }
}

TEST(Disk, WhatWasNotSyncedIsLostKeptOrTornBySector) {
  const std::string old(2048, 'a');
  const std::string fresh(2048, 'b');
  std::set<std::string> outcomes;
  for (std::uint64_t seed = 0; seed < 300; ++seed) {
    Disk disk(seed);
    disk.Put("file", old);
    ASSERT_EQ(disk.Write(*disk.Find("file"), 0, fresh), Code::kGood);
    disk.Cut();
    disk.Restore();
    const std::string left = disk.Find("file")->now;
    for (std::size_t at = 0; at < left.size(); at += 512) {
      const std::string sector = left.substr(at, 512);
      EXPECT_TRUE(sector == std::string(512, 'a') || sector == std::string(512, 'b'));
    }
    outcomes.insert(left);
  }
  EXPECT_TRUE(outcomes.contains(old));
  EXPECT_TRUE(outcomes.contains(fresh));
  EXPECT_EQ(outcomes.size(), 16u) << "each of four sectors by itself";
}

TEST(Disk, ANameThatWasNotSyncedMayBeGoneOrBack) {
  std::set<std::pair<bool, bool>> outcomes;
  for (std::uint64_t seed = 0; seed < 100; ++seed) {
    Disk disk(seed);
    disk.Put("old", "x");
    Opened(disk, "new");
    ASSERT_EQ(disk.Delete("old", false), Code::kGood);
    disk.Cut();
    disk.Restore();
    outcomes.insert({disk.Find("old") != nullptr, disk.Find("new") != nullptr});
  }
  EXPECT_EQ(outcomes.size(), 4u);
}

TEST(Disk, ASyncThatFailedKeepsWhatItLostFromTheNextSyncToo) {
  bool lost = false;
  for (std::uint64_t seed = 0; seed < 50; ++seed) {
    Disk disk(seed);
    const auto inode = Opened(disk, "log");
    ASSERT_EQ(disk.Sync(*inode, true), Code::kGood);
    ASSERT_EQ(disk.Write(*inode, 0, "first"), Code::kGood);
    disk.FailCall(1, Disk::Fault::kIo);
    ASSERT_EQ(disk.Sync(*inode, false), Code::kIo);
    EXPECT_EQ(inode->now, "first") << "the system still shows it";
    ASSERT_EQ(disk.Sync(*inode, false), Code::kGood);
    disk.Cut();
    disk.Restore();
    lost = lost || disk.Find("log")->now != "first";
  }
  EXPECT_TRUE(lost);
}

TEST(Disk, TheNthCallFailsAndOnlyThatOne) {
  Disk disk(1);
  const auto inode = Opened(disk, "file");
  disk.FailCall(2, Disk::Fault::kIo);
  EXPECT_EQ(disk.Write(*inode, 0, "a"), Code::kGood);
  EXPECT_FALSE(disk.has_failed());
  EXPECT_EQ(disk.Write(*inode, 0, "b"), Code::kIo);
  EXPECT_TRUE(disk.has_failed());
  EXPECT_EQ(disk.Write(*inode, 1, "c"), Code::kGood);
  EXPECT_EQ(inode->now, "ac");
}

TEST(Disk, WithoutRoomNothingGrows) {
  Disk disk(1);
  const auto inode = Opened(disk, "file");
  disk.SetRoom(4);
  EXPECT_EQ(disk.Write(*inode, 0, "1234"), Code::kGood);
  EXPECT_EQ(disk.Write(*inode, 3, "45"), Code::kFull);
  EXPECT_EQ(disk.Write(*inode, 0, "abcd"), Code::kGood);
}

// Bare SQLite, its answer to COMMIT taken for an acknowledgement.
class Bank {
 public:
  Bank(Disk& disk, const char* synchronous) {
    EXPECT_EQ(sqlite3_open_v2("bank", &db_, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE, disk.vfs()),
              SQLITE_OK);
    Run("PRAGMA locking_mode = EXCLUSIVE; PRAGMA journal_mode = WAL; PRAGMA synchronous = " +
        std::string(synchronous) + "; CREATE TABLE IF NOT EXISTS paid(number INTEGER)");
  }
  ~Bank() { sqlite3_close(db_); }
  void Run(const std::string& sql) {
    EXPECT_EQ(sqlite3_exec(db_, sql.c_str(), nullptr, nullptr, nullptr), SQLITE_OK) << sql;
  }
  std::string Ask(const std::string& sql) {
    std::string answer;
    const auto read = [](void* into, int, char** texts, char**) {
      *static_cast<std::string*>(into) = texts[0];
      return 0;
    };
    EXPECT_EQ(sqlite3_exec(db_, sql.c_str(), read, &answer, nullptr), SQLITE_OK) << sql;
    return answer;
  }

 private:
  sqlite3* db_ = nullptr;
};

/// Of 50 power cuts, after how many an acknowledged row was gone.
int CutsWithLoss(const char* synchronous) {
  int losses = 0;
  for (std::uint64_t seed = 0; seed < 50; ++seed) {
    Disk disk(seed);
    {
      Bank bank(disk, "FULL");  // the table itself is safe
    }
    {
      Bank bank(disk, synchronous);
      for (int i = 0; i < 5; ++i) bank.Run("INSERT INTO paid VALUES(1)");
      disk.Cut();
    }
    disk.Restore();
    Bank after(disk, "FULL");
    EXPECT_EQ(after.Ask("PRAGMA integrity_check"), "ok");
    if (after.Ask("SELECT count(*) FROM paid") != "5") ++losses;
  }
  return losses;
}

TEST(Disk, SqliteKeepsEveryCommitWithFullSyncAndLosesSomeWithout) {
  EXPECT_EQ(CutsWithLoss("FULL"), 0);
  EXPECT_GT(CutsWithLoss("OFF"), 10);
}

}  // namespace
}  // namespace dwell::sim
