// Group commit: jobs share transactions, failures reach everyone in them, what was told is on disk.
#include "daemon/store/writer.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include <atomic>
#include <future>

#include "tests/daemon/store/store_records.h"

namespace dwell::store {
namespace {

using testing::ElementsAre;

Result<void> TryAddLine(Store& store, const std::string& line_id) {
  LineRecord line;
  line.key = {"ward-tablets", line_id};
  const auto saved = store.SaveLine(line);
  if (saved.has_error()) return saved.error();
  return {};
}

class WriterTest : public testing::Test {
 protected:
  void Start() {
    writer_ = std::make_unique<Writer>(OpenStore(path_), [this](const Error& error) {
      ++fatal_calls_;
      fatal_kind_ = error.kind();
    });
  }
  // Holds the store thread inside a job, so that what is posted meanwhile gathers.
  std::promise<void> Block() {
    std::promise<void> release;
    auto entered = std::make_shared<std::promise<void>>();
    auto held = release.get_future().share();
    writer_->Post({[held, entered](Store&) -> Result<void> {
                     entered->set_value();
                     held.wait();
                     return {};
                   },
                   nullptr});
    entered->get_future().wait();
    return release;
  }
  // Runs one job to its end and gives what it was told.
  Result<void> RunJob(std::function<Result<void>(Store&)> work) {
    std::promise<Result<void>> told;
    writer_->Post(
        {std::move(work), [&told](const Result<void>& result) { told.set_value(result); }});
    return told.get_future().get();
  }
  bool HasLine(const std::string& line_id) {
    bool found = false;
    Good(RunJob([&](Store& store) -> Result<void> {
      found = Good(store.LoadLine(line::Key{"ward-tablets", line_id})).has_value();
      return {};
    }));
    return found;
  }

  test::TempFolder folder_;
  std::string path_ = folder_ / "store";
  std::atomic<int> fatal_calls_{0};
  std::atomic<ErrorKind> fatal_kind_{};
  std::unique_ptr<Writer> writer_;
};

TEST_F(WriterTest, JobsThatWaitShareOneTransactionAndAreToldInOrder) {
  Start();
  std::promise<void> release = Block();
  std::vector<int> told;
  std::vector<std::uint64_t> lines_when_told;
  Store* store_seen = nullptr;
  for (int i = 0; i < 100; ++i) {
    writer_->Post({[i, &store_seen](Store& store) {
                     store_seen = &store;
                     return TryAddLine(store, std::to_string(i));
                   },
                   [&, i](const Result<void>& result) {
                     if (result.has_value()) told.push_back(i);
                     lines_when_told.push_back(store_seen->counts().lines);
                   }});
  }
  EXPECT_EQ(writer_->waiting(), 101u);
  release.set_value();
  writer_.reset();
  ASSERT_EQ(told.size(), 100u);
  EXPECT_TRUE(std::is_sorted(told.begin(), told.end()));
  // One transaction: the first to be told already sees what the last one did.
  EXPECT_EQ(lines_when_told.front(), 100u);
}

TEST_F(WriterTest, ATransactionTakesNoMoreThanTheLimit) {
  Start();
  std::promise<void> release = Block();
  std::vector<std::uint64_t> lines_when_told;
  Store* store_seen = nullptr;
  const int jobs = static_cast<int>(limits::kEventsPerCommitMax) + 10;
  for (int i = 0; i < jobs; ++i) {
    writer_->Post(
        {[i, &store_seen](Store& store) {
           store_seen = &store;
           return TryAddLine(store, std::to_string(i));
         },
         [&](const Result<void>&) { lines_when_told.push_back(store_seen->counts().lines); }});
  }
  release.set_value();
  writer_.reset();
  ASSERT_EQ(lines_when_told.size(), static_cast<std::size_t>(jobs));
  EXPECT_EQ(lines_when_told.front(), limits::kEventsPerCommitMax);
  EXPECT_EQ(lines_when_told.back(), static_cast<std::uint64_t>(jobs));
}

TEST_F(WriterTest, AFloodOfEventsDoesNotKeepDeliveryWaiting) {
  Start();
  std::promise<void> release = Block();
  std::string order;
  const auto post = [&](char name, std::size_t weight, bool goes_first) {
    Job job;
    job.work = [](Store&) { return Result<void>(); };
    job.done = [&order, name](const Result<void>&) { order += name; };
    job.weight = weight;
    job.goes_first = goes_first;
    writer_->Post(std::move(job));
  };
  for (int i = 0; i < 3; ++i) post('b', limits::kEventsPerCommitMax, false);
  post('d', 1, true);
  std::string order_when_last;
  Job last;
  last.work = [&](Store&) {
    order_when_last = order;
    return Result<void>();
  };
  last.weight = limits::kEventsPerCommitMax;
  writer_->Post(std::move(last));
  release.set_value();
  writer_.reset();
  EXPECT_EQ(order, "dbbb");
  EXPECT_EQ(order_when_last, "dbbb") << "each heavy job has a transaction of its own";
}

TEST_F(WriterTest, AFullDiskRollsEverybodyBackTellsThemAndGoesOn) {
  Start();
  std::promise<void> release = Block();
  std::vector<std::string> told;
  const auto tell = [&told](const Result<void>& result) {
    told.push_back(result.has_error() ? result.error().message() : "stored");
  };
  writer_->Post({[](Store& store) { return TryAddLine(store, "before"); }, tell});
  writer_->Post({[](Store&) -> Result<void> { return Error(ErrorKind::kFull, "full"); }, tell});
  std::promise<void> all_told;
  writer_->Post({[](Store& store) { return TryAddLine(store, "after"); },
                 [&](const Result<void>& result) {
                   tell(result);
                   all_told.set_value();
                 }});
  release.set_value();
  all_told.get_future().wait();
  Good(RunJob([](Store& store) { return TryAddLine(store, "later"); }));
  EXPECT_THAT(told, ElementsAre("full", "full", "full"));
  EXPECT_FALSE(HasLine("before"));
  EXPECT_FALSE(HasLine("after"));
  EXPECT_TRUE(HasLine("later"));
  EXPECT_EQ(fatal_calls_, 0);
}

TEST_F(WriterTest, AnyOtherErrorStopsTheThreadOnceAndForAll) {
  Start();
  const Result<void> broke =
      RunJob([](Store&) -> Result<void> { return Error(ErrorKind::kIo, "sync failed"); });
  ASSERT_TRUE(broke.has_error());
  EXPECT_EQ(fatal_calls_, 1);
  EXPECT_EQ(fatal_kind_, ErrorKind::kIo);
  bool ran = false;
  const Result<void> later = RunJob([&ran](Store&) -> Result<void> {
    ran = true;
    return {};
  });
  ASSERT_TRUE(later.has_error());
  EXPECT_EQ(later.error().message(), "sync failed");
  EXPECT_FALSE(ran);
  EXPECT_EQ(fatal_calls_, 1);
}

TEST_F(WriterTest, TheEndFinishesWhatWasPostedAndLeavesNoLog) {
  Start();
  std::promise<void> release = Block();
  writer_->Post({[](Store& store) { return TryAddLine(store, "last"); }, nullptr});
  release.set_value();
  writer_.reset();
  EXPECT_EQ(test::ReadBytes(path_ + "-wal").size(), 0u);
  Start();
  EXPECT_TRUE(HasLine("last"));
}

TEST_F(WriterTest, AfterAFailureTheFileIsNotTouchedAgain) {
  Start();
  Good(RunJob([](Store& store) { return TryAddLine(store, "a"); }));
  RunJob([](Store&) -> Result<void> { return Error(ErrorKind::kIo, "sync failed"); }).has_error();
  const std::string log = test::ReadBytes(path_ + "-wal");
  const std::string file = test::ReadBytes(path_);
  writer_.reset();
  EXPECT_EQ(test::ReadBytes(path_ + "-wal"), log);
  EXPECT_EQ(test::ReadBytes(path_), file);
  Start();
  EXPECT_TRUE(HasLine("a"));
}

// A child stores lines and says so after each commit; it is killed; what it said must be there.
void StoreUntilKilled(const std::string& path, int pipe) {
  Writer writer(OpenStore(path), nullptr);
  for (int i = 0;; ++i) {
    std::promise<void> done;
    writer.Post({[i](Store& store) { return TryAddLine(store, std::to_string(i)); },
                 [&](const Result<void>& result) {
                   if (result.has_value() && ::write(pipe, "x", 1) != 1) ::_exit(1);
                   done.set_value();
                 }});
    done.get_future().wait();
  }
}

TEST_F(WriterTest, WhatWasAcknowledgedSurvivesKill) {
  for (const std::size_t acks_before_kill : {1, 7, 40, 90}) {
    const std::string path = folder_ / ("killed-" + std::to_string(acks_before_kill));
    int ends[2];
    ASSERT_EQ(::pipe(ends), 0);
    const pid_t child = ::fork();
    if (child == 0) {
      ::close(ends[0]);
      StoreUntilKilled(path, ends[1]);
    }
    ::close(ends[1]);
    std::size_t acknowledged = 0;
    char byte = 0;
    while (acknowledged < acks_before_kill && ::read(ends[0], &byte, 1) == 1) ++acknowledged;
    ::kill(child, SIGKILL);
    while (::read(ends[0], &byte, 1) == 1) ++acknowledged;
    ::close(ends[0]);
    ASSERT_EQ(::waitpid(child, nullptr, 0), child);
    ASSERT_GE(acknowledged, acks_before_kill);

    auto store = OpenStore(path);
    // Committed and not yet told at the moment of the kill: at most the one in hand.
    EXPECT_GE(store->counts().lines, acknowledged);
    EXPECT_LE(store->counts().lines, acknowledged + 1);
    for (std::size_t i = 0; i < acknowledged; ++i) {
      EXPECT_TRUE(Good(store->LoadLine(line::Key{"ward-tablets", std::to_string(i)})).has_value());
    }
  }
}

}  // namespace
}  // namespace dwell::store
