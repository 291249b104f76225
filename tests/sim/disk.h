// A disk in memory that forgets what was not synced, tears writes and fails when told to; for power
// cuts that can be repeated.
#pragma once

#include <cstdint>
#include <map>
#include <memory>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "daemon/store/files.h"
#include "tests/sim/random.h"

struct sqlite3_vfs;

namespace dwell::sim {

/// What a file is, whatever its names: as the system shows it, and as the platter has it.
struct Inode {
  struct Change {
    std::uint64_t at = 0;  ///< where it writes; for a truncation the new size
    std::string bytes;
    bool truncates = false;
  };
  std::string now;
  std::string durable;
  std::vector<Change> unsynced;  ///< what `durable` lacks, in order
};

enum class Code : std::uint8_t { kGood, kIo, kFull };

/// Calls are counted; one of them may be told to fail, or to be the last before the power goes.
/// After a power cut nothing works and nothing changes until Restore().
class Disk final : public store::Files {
 public:
  enum class Fault : std::uint8_t {
    kIo,    ///< fails and does nothing; a sync that fails loses some of what it should have kept
    kFull,  ///< as if no space were left; counts only calls that need space
    kCut,   ///< the power goes while the call is at work
  };

  static constexpr std::uint64_t kPlenty = std::uint64_t{1} << 40U;

  explicit Disk(std::uint64_t seed);
  ~Disk() override;
  Disk(const Disk&) = delete;
  Disk& operator=(const Disk&) = delete;

  /// The n-th call from now (1: the next) has this fault. Takes the place of the one before.
  void FailCall(std::uint64_t n, Fault fault);
  void FailNone() {
    fail_after_ = 0;
    has_failed_ = false;
  }
  /// Whether the fault was met since FailCall().
  bool has_failed() const { return has_failed_; }
  /// Calls so far.
  std::uint64_t calls() const { return calls_; }
  /// The power goes now.
  void Cut() { is_dead_ = true; }
  bool is_dead() const { return is_dead_; }
  /// The power is back: what was synced is there, and a subset of the rest, by chance, sector by
  /// sector, each name of a file by itself.
  void Restore();
  /// Room for all files together, in bytes.
  void SetRoom(std::uint64_t bytes) { room_ = bytes; }
  bool has_little_room() const { return room_ < kPlenty; }
  std::uint64_t used_bytes() const;

  /// A file as the system shows it; null when there is none of that name.
  std::shared_ptr<Inode> Find(const std::string& path) const;
  /// A file that is there and synced.
  void Put(const std::string& path, std::string bytes);

  /// While one exists no call fails and none is counted, whatever was planned.
  class Unharmed {
   public:
    explicit Unharmed(Disk& disk)
        : disk_(disk), fail_after_(std::exchange(disk.fail_after_, 0)), room_(disk.room_) {
      disk.room_ = kPlenty;
    }
    ~Unharmed() {
      disk_.fail_after_ = fail_after_;
      disk_.room_ = room_;
    }
    Unharmed(const Unharmed&) = delete;
    Unharmed& operator=(const Unharmed&) = delete;

   private:
    Disk& disk_;
    std::uint64_t fail_after_, room_;
  };
  /// The process that wrote is gone, the power is not: all that it wrote stays as it is.
  void Revive() { is_dead_ = false; }

  // What SQLite's file layer does, see vfs.cc.
  Code Open(const std::string& path, bool creates, std::shared_ptr<Inode>& inode);
  Code Read(const Inode& inode, std::uint64_t at, std::size_t size, std::string_view& bytes);
  Code Write(Inode& inode, std::uint64_t at, std::string_view bytes);
  Code Truncate(Inode& inode, std::uint64_t size);
  /// `with_folder`: the names in its folder, too, as SQLite does once for a journal or log.
  Code Sync(Inode& inode, bool with_folder);
  Code Delete(const std::string& path, bool syncs);

  // What the store does by itself.
  const char* vfs() const override { return vfs_name_.c_str(); }
  Result<Seen> LookAt(const std::string& path) const override;
  Result<void> Write(const std::string& path, std::string_view bytes) override;
  Result<void> Link(const std::string& from, const std::string& to) override;
  void Remove(const std::string& path) override;
  Result<void> SyncFolderOf(const std::string& path) override;
  std::optional<std::uint64_t> FreeBytes(const std::string& path) const override;

 private:
  using Names = std::map<std::string, std::shared_ptr<Inode>>;

  Code Begin(bool needs_space);
  Code End();
  void LoseSome(Inode& inode);
  void Bind(const std::string& path, Names& names, const std::shared_ptr<Inode>& inode);

  Random random_;
  Names names_;
  Names durable_names_;
  std::uint64_t room_ = kPlenty;
  std::uint64_t calls_ = 0;
  std::uint64_t fail_after_ = 0;  ///< calls; 0: no fault is planned
  Fault fault_ = Fault::kIo;
  bool has_failed_ = false;
  bool is_dead_ = false;
  bool cut_at_end_ = false;  ///< of the call at work
  std::string vfs_name_;
  std::unique_ptr<sqlite3_vfs> vfs_;
};

/// SQLite's file layer over `disk`, registered under `name`; see vfs.cc.
std::unique_ptr<sqlite3_vfs> RegisterVfs(Disk& disk, const std::string& name);
void UnregisterVfs(sqlite3_vfs& vfs);

}  // namespace dwell::sim
