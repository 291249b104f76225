// One event's whole walk through a process, for tests that break it at every place.
#pragma once

#include <gtest/gtest.h>

#include <map>
#include <memory>
#include <string>

#include "tests/sim/process.h"
#include "tests/sim/records.h"
#include "tests/sim/rules.h"
#include "tests/support/ward_events.h"

namespace dwell::sim {

class Walk {
 public:
  explicit Walk(std::uint64_t seed)
      : findings_([this](const std::string& line) { trace_ += line + "\n"; }),
        random_(seed),
        disk_(seed),
        peer_(random_, findings_),
        rules_(RulesOfTheHouse()),
        outside_{.disk = disk_,
                 .peer = peer_,
                 .random = random_,
                 .findings = findings_,
                 .rules = rules_,
                 .wall = test::ManualClock(test::Hour(1)),
                 .wall_most = test::Hour(1)},
        records_(findings_, peer_) {}

  Disk& disk() { return disk_; }
  Peer& peer() { return peer_; }
  Process& process() { return *process_; }
  const Findings& findings() const { return findings_; }
  const std::string& trace() const { return trace_; }
  bool has_met_fault() const { return has_met_fault_ || disk_.has_failed(); }
  bool is_up() const { return process_ != nullptr && !process_->is_dead(); }

  /// Starts; again and again when the fault met it, but only once without one.
  void Start() {
    process_.reset();
    for (int i = 0; i < 3 && process_ == nullptr; ++i) {
      if (disk_.is_dead()) disk_.Restore();
      auto started = Process::Start(outside_);
      if (started.has_value()) {
        process_ = std::move(*started);
      } else {
        trace_ += started.error().message() + "\n";
        EXPECT_TRUE(disk_.has_failed()) << started.error().message();
        has_met_fault_ = true;
        disk_.FailNone();
      }
    }
    ASSERT_NE(process_, nullptr);
  }
  /// 0: no answer.
  int Send(const test::Sketch& sketch) {
    const Told told{sketch.id, sketch.line_id, test::Raw(sketch)};
    int status = 0;
    process_->pipeline().SubmitOne(told.raw, [&, this](const intake::Reply& reply) {
      if (disk_.is_dead()) return;
      status = reply.status;
      records_.Answered(told, true, reply);
    });
    process_->CommitNow();
    return status;
  }
  void RunFor(std::chrono::milliseconds time) {
    const Steady until = outside_.steady + time;
    while (is_up()) {
      const auto next = process_->NextTimer();
      if (!next || *next > until) break;
      Move(std::max(*next, outside_.steady));
      process_->RunTimers();
    }
    Move(until);
  }
  void CheckAll() {
    EXPECT_TRUE(process_->Ask([this](store::Store& store) { return records_.CheckAll(store); }));
  }
  store::Counts Counts() {
    store::Counts counts;
    EXPECT_TRUE(process_->Ask([&counts](store::Store& store) -> Result<void> {
      counts = store.counts();
      return {};
    }));
    return counts;
  }

 private:
  void Move(Steady to) {
    outside_.wall.Advance(
        std::chrono::duration_cast<std::chrono::milliseconds>(to - outside_.steady));
    outside_.steady = to;
    outside_.wall_most = std::max(outside_.wall_most, outside_.wall.Now());
  }

  bool has_met_fault_ = false;
  std::string trace_;
  Findings findings_;
  Random random_;
  Disk disk_;
  Peer peer_;
  ledger::Rules rules_;
  Outside outside_;
  Records records_;
  std::unique_ptr<Process> process_;
};

}  // namespace dwell::sim
