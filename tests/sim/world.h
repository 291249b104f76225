// One seed: a ward, a daemon, a hospital record, and everything that goes wrong between them.
#pragma once

#include <memory>
#include <string>

#include "tests/sim/findings.h"
#include "tests/sim/log_capture.h"
#include "tests/sim/process.h"
#include "tests/sim/records.h"
#include "tests/sim/ward.h"

namespace dwell::sim {

/// What a seed did, for the figures.
struct Figures {
  std::uint64_t steps = 0, starts = 0, cuts = 0, kills = 0, failures = 0, jumps = 0;
  std::uint64_t events = 0, refused = 0, attempts = 0, delivered = 0;

  Figures& operator+=(const Figures& other);
};

class World {
 public:
  World(std::uint64_t seed, Findings& findings, LogCapture& log);

  /// All of it. Stops at the first broken invariant.
  Figures Run();

 private:
  struct Choice;

  void Step();
  void Settle();

  // Steps.
  void Send();
  void SendAgain();
  void SendTogether();
  void SendOtherContent();
  void SendNonsense();
  void LetTimePass();
  void ChangeMood();
  void CutPower();
  void CutPowerSoon();
  void KillSoon();
  void RestartInOrder();
  void FailDiskSoon();
  void FillDisk();
  void MakeRoom();
  void SetClock();
  void Decide();
  void CleanUp();
  void Remap();
  void RefuseALine();
  void ChangeStatement();

  void Submit(const Told& told, bool is_legal);
  void RunFor(std::chrono::milliseconds time);
  void Move(Steady to);
  void Recover();
  bool Start();
  void Check(bool fully);
  void CheckLog();

  Findings& findings_;
  LogCapture& log_;
  Random random_;
  Disk disk_;
  Peer peer_;
  ledger::Rules rules_;
  Outside outside_;
  Ward ward_;
  Records records_;
  std::unique_ptr<Process> process_;
  bool only_process_dies_ = false;  ///< when the disk stops: killed, the power stays
  Figures figures_;
};

}  // namespace dwell::sim
