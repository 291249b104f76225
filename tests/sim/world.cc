#include "tests/sim/world.h"

#include <sqlite3.h>

#include <array>
#include <utility>

#include "tests/sim/rules.h"

namespace dwell::sim {
namespace {

using std::chrono::milliseconds;

constexpr std::int64_t kStepsMin = 30, kStepsMax = 70;
constexpr std::size_t kLinesMax = 4;
constexpr std::chrono::hours kPeace{2};

/// 2026-03-02 09:00 UTC.
Instant Beginning() { return ReadMoment("2026-03-02T09:00:00Z")->instant; }

}  // namespace

/// What may happen next, and how often.
struct World::Choice {
  const char* name;
  std::uint64_t weight;
  void (World::*act)();
};

Figures& Figures::operator+=(const Figures& other) {
  steps += other.steps;
  starts += other.starts;
  cuts += other.cuts;
  kills += other.kills;
  failures += other.failures;
  jumps += other.jumps;
  events += other.events;
  refused += other.refused;
  attempts += other.attempts;
  delivered += other.delivered;
  return *this;
}

World::World(std::uint64_t seed, Findings& findings, LogCapture& log)
    : findings_(findings),
      log_(log),
      random_(seed * 2 + 1),
      disk_(random_.Next()),
      peer_(random_, findings),
      rules_(RulesOfTheHouse()),
      outside_{.disk = disk_,
               .peer = peer_,
               .random = random_,
               .findings = findings,
               .rules = rules_,
               .wall = test::ManualClock(Beginning()),
               .wall_most = Beginning()},
      ward_(random_, kLinesMax),
      records_(findings, peer_) {
  // SQLite draws the salts of its log from here; the number must not be 0.
  sqlite3_test_control(SQLITE_TESTCTRL_PRNG_SEED, static_cast<int>(random_.Below(1U << 30U)) + 1,
                       static_cast<sqlite3*>(nullptr));
}

Figures World::Run() {
  log_.Take();
  if (random_.Chance(90)) {
    disk_.Put(Process::kPath, EmptyStore());
  } else {  // the daemon makes it, and may be cut off meanwhile
    disk_.FailCall(static_cast<std::uint64_t>(random_.Between(1, 40)), Disk::Fault::kCut);
  }
  Recover();
  const std::int64_t steps = random_.Between(kStepsMin, kStepsMax);
  for (std::int64_t i = 0; i < steps && findings_.ok(); ++i) Step();
  if (findings_.ok()) Settle();
  process_.reset();
  CheckLog();
  figures_.attempts = outside_.attempts;
  figures_.delivered = peer_.taken().size();
  return figures_;
}

void World::Step() {
  static constexpr std::array<Choice, 21> kChoices{{
      {"send", 30, &World::Send},
      {"send again", 5, &World::SendAgain},
      {"send together", 8, &World::SendTogether},
      {"send other content", 3, &World::SendOtherContent},
      {"send nonsense", 3, &World::SendNonsense},
      {"let time pass", 16, &World::LetTimePass},
      {"change mood", 9, &World::ChangeMood},
      {"cut power", 2, &World::CutPower},
      {"cut power soon", 4, &World::CutPowerSoon},
      {"kill soon", 3, &World::KillSoon},
      {"restart", 1, &World::RestartInOrder},
      {"fail disk soon", 3, &World::FailDiskSoon},
      {"fill disk", 2, &World::FillDisk},
      {"make room", 7, &World::MakeRoom},
      {"set clock", 3, &World::SetClock},
      {"decide", 4, &World::Decide},
      {"clean up", 2, &World::CleanUp},
      {"remap", 2, &World::Remap},
      {"refuse a line", 1, &World::RefuseALine},
      {"change mood", 1, &World::ChangeMood},
      {"change statement", 2, &World::ChangeStatement},
  }};
  std::uint64_t all = 0;
  for (const Choice& choice : kChoices) all += choice.weight;
  std::uint64_t drawn = random_.Below(all);
  const Choice* chosen = kChoices.data();
  for (; drawn >= chosen->weight; ++chosen) drawn -= chosen->weight;
  ++figures_.steps;
  if (findings_.traces()) {
    findings_.Trace(std::to_string(figures_.steps) + " " + FormatInstant(outside_.wall.Now()) +
                    " " + chosen->name);
  }
  (this->*chosen->act)();
  RunFor(milliseconds(random_.Between(0, 30)));
  Check(random_.Chance(8));
}

void World::Submit(const Told& told, bool is_legal) {
  if (findings_.traces()) findings_.Trace("  event " + told.raw);
  process_->pipeline().SubmitOne(told.raw, [this, told, is_legal](const intake::Reply& reply) {
    if (process_ == nullptr || disk_.is_dead()) return;  // nobody is left to hear it
    ++(reply.status < 300 ? figures_.events : figures_.refused);
    records_.Answered(told, is_legal, reply);
  });
}

void World::Send() { Submit(ward_.Tell(outside_.wall.Now()), true); }

void World::SendAgain() {
  if (ward_.has_told()) Submit(ward_.Repeat(), true);
}

void World::SendTogether() {
  const auto count = random_.Between(2, 6);
  for (std::int64_t i = 0; i < count; ++i) {
    const Told told = ward_.Tell(outside_.wall.Now());
    Submit(told, true);
    if (random_.Chance(40)) Submit(told, true);
  }
}

void World::SendOtherContent() {
  if (ward_.has_told()) Submit(ward_.Contradict(), true);
}

void World::SendNonsense() { Submit(ward_.Nonsense(outside_.wall.Now()), false); }

void World::LetTimePass() {
  auto scale = random_.OneOf<std::int64_t>({100, 5'000, 60'000, 1'200'000, 8 * 3'600'000});
  // On a full disk the alarm tries again and again: seen once, seen often enough.
  if (disk_.has_little_room()) scale = std::min<std::int64_t>(scale, 5'000);
  RunFor(milliseconds(random_.Between(1, scale)));
}

void World::ChangeMood() {
  peer_.SetMood(random_.Chance(40) ? Mood::kWell : static_cast<Mood>(random_.Below(kMoods)));
  findings_.Trace(std::string("  the record is now: ") + MoodName(peer_.mood()));
}

void World::RefuseALine() {
  peer_.Refuse("line-" + std::to_string(random_.Between(1, static_cast<std::int64_t>(kLinesMax))));
}

void World::ChangeStatement() { peer_.SayWhetherIdsAreTaken(random_.Chance(50)); }

void World::CutPower() { disk_.Cut(); }

void World::CutPowerSoon() {
  disk_.FailCall(static_cast<std::uint64_t>(random_.Between(1, 60)), Disk::Fault::kCut);
  only_process_dies_ = false;
}

void World::KillSoon() {
  disk_.FailCall(static_cast<std::uint64_t>(random_.Between(1, 60)), Disk::Fault::kCut);
  only_process_dies_ = true;
}

void World::RestartInOrder() {
  process_->Finish();
  const bool is_over = process_->is_dead();
  if (!is_over) process_.reset();
  Recover();
}

void World::FailDiskSoon() {
  const auto fault = random_.OneOf({Disk::Fault::kIo, Disk::Fault::kFull});
  disk_.FailCall(static_cast<std::uint64_t>(random_.Between(1, 60)), fault);
}

void World::FillDisk() { disk_.SetRoom(disk_.used_bytes() + random_.Below(400 * limits::kKiB)); }

void World::MakeRoom() { disk_.SetRoom(Disk::kPlenty); }

void World::SetClock() {
  ++figures_.jumps;
  const auto hours = random_.OneOf<std::int64_t>(
      {-1, 1, random_.Between(-30, 30), 24 * 365 * random_.Between(1, 5)});
  outside_.wall.Advance(std::chrono::hours(hours));
  outside_.wall_most = std::max(outside_.wall_most, outside_.wall.Now());
  findings_.Trace("  the wall clock jumps by " + std::to_string(hours) + " h");
}

void World::Decide() {
  ledger::Order order;
  order.act = random_.Chance(50) ? store::Act::kReleased : store::Act::kCancelled;
  order.by = kSecret;
  order.why = kSecret;
  std::int64_t seq = 0;
  process_->Ask([&](store::Store& store) -> Result<void> {
    const auto held = store.OnHold(0, "", 100);
    if (held.has_error()) return held.error();
    if (!held->empty()) seq = (*held)[static_cast<std::size_t>(random_.Below(held->size()))];
    return {};
  });
  if (seq == 0) return;
  order.target = std::to_string(seq);
  if (random_.Chance(60)) peer_.Refuse("nobody");
  process_->ForgetWait(seq);
  process_->ledger().Decide(order, [this](const Result<ledger::Ruling>& ruling) {
    if (ruling.has_error()) return;
    for (const ledger::Decided& one : ruling->decided) {
      findings_.Trace("  bundle " + std::to_string(one.bundle_seq) + " " +
                      std::string(store::ActName(one.act)) + " " + one.refusal);
    }
  });
}

void World::CleanUp() { process_->CleanUp(); }

void World::Remap() {
  ledger::RemapOrder order;
  order.send = random_.Chance(70);
  order.by = kSecret;
  order.why = kSecret;
  process_->ledger().Remap(order, [](const Result<ledger::RemapPage>&) {});
}

void World::RunFor(milliseconds time) {
  const Steady until = outside_.steady + time;
  while (findings_.ok()) {
    if (process_->is_dead()) Recover();
    if (!findings_.ok()) return;
    const auto next = process_->NextTimer();
    if (!next || *next > until) break;
    Move(std::max(*next, outside_.steady));
    process_->RunTimers();
  }
  if (findings_.ok()) Move(until);
}

void World::Move(Steady to) {
  outside_.wall.Advance(std::chrono::duration_cast<milliseconds>(to - outside_.steady));
  outside_.steady = to;
  outside_.wall_most = std::max(outside_.wall_most, outside_.wall.Now());
}

/// The process ended or never was: whatever became of the disk, it starts again.
void World::Recover() {
  while (findings_.ok()) {
    if (process_ != nullptr && process_->has_stopped() && !disk_.is_dead()) {
      ++figures_.failures;
      findings_.Trace("  the process stopped: the disk failed");
      if (random_.Chance(50)) disk_.Cut();  // somebody pulls the plug, too
    }
    process_.reset();
    if (disk_.is_dead()) {
      findings_.Trace(only_process_dies_ ? "  killed" : "  power cut");
      ++(only_process_dies_ ? figures_.kills : figures_.cuts);
      if (only_process_dies_) {
        disk_.Revive();
      } else {
        disk_.Restore();
      }
      only_process_dies_ = false;
      if (random_.Chance(15)) {  // and again while it starts
        disk_.FailCall(static_cast<std::uint64_t>(random_.Between(1, 30)), Disk::Fault::kCut);
      }
    }
    if (Start()) return Check(true);
  }
}

bool World::Start() {
  ++figures_.starts;
  auto started = Process::Start(outside_);
  if (started.has_value()) {
    process_ = std::move(*started);
    return true;
  }
  const Error& error = started.error();
  findings_.Trace("  did not start: " + error.message());
  if (disk_.is_dead() || disk_.has_failed()) {
    disk_.FailNone();
    return false;
  }
  if (error.kind() == ErrorKind::kFull) {
    disk_.SetRoom(Disk::kPlenty);
    return false;
  }
  findings_.Broken("starts again", error.message());
  return false;
}

void World::Check(bool fully) {
  if (process_ == nullptr || process_->is_dead()) return;
  const bool answered = process_->Ask([&](store::Store& store) {
    return fully ? records_.CheckAll(store) : records_.CheckBooks(store);
  });
  if (!answered) findings_.Broken("the store answers", "it cannot be read");
  if (disk_.used_bytes() > 64 * limits::kMiB) {
    findings_.Broken("I6 queue", "the files have " + std::to_string(disk_.used_bytes()) + " bytes");
  }
}

/// I8
void World::CheckLog() {
  const std::string text = log_.Take();
  std::vector<std::string> secrets = Ward::patients();
  secrets.insert(secrets.end(), {kSecret, Peer::kSecret});
  for (const std::string& secret : secrets) {
    if (text.find(secret) != std::string::npos)
      findings_.Broken("I8 secret", secret + " is logged");
  }
}

/// Everything becomes well, and time passes.
void World::Settle() {
  disk_.FailNone();
  disk_.SetRoom(Disk::kPlenty);
  peer_.SetMood(Mood::kWell);
  RunFor(kPeace);
  if (!findings_.ok()) return;
  process_->Ask([&](store::Store& store) { return records_.CheckEnd(store, outside_.wall.Now()); });
}

}  // namespace dwell::sim
