#include "tests/sim/disk.h"

#include <sqlite3.h>

#include <algorithm>
#include <atomic>
#include <set>
#include <utility>

namespace dwell::sim {
namespace {

// The least that a disk writes whole.
constexpr std::uint64_t kSectorBytes = 512;

void Apply(std::string& content, std::uint64_t at, std::string_view bytes) {
  const auto end = static_cast<std::size_t>(at) + bytes.size();
  if (content.size() < end) content.resize(end);
  bytes.copy(content.data() + at, bytes.size());
}

Result<void> ResultOf(Code code, const std::string& doing) {
  if (code == Code::kGood) return {};
  return Error(code == Code::kFull ? ErrorKind::kFull : ErrorKind::kIo, "cannot " + doing);
}

std::string NewName() {
  static std::atomic<int> count{0};
  return "dwell-sim-" + std::to_string(++count);
}

}  // namespace

Disk::Disk(std::uint64_t seed)
    : random_(seed), vfs_name_(NewName()), vfs_(RegisterVfs(*this, vfs_name_)) {}

Disk::~Disk() { UnregisterVfs(*vfs_); }

void Disk::FailCall(std::uint64_t n, Fault fault) {
  fail_after_ = n;
  fault_ = fault;
  has_failed_ = false;
}

Code Disk::Begin(bool needs_space) {
  if (is_dead_) return Code::kIo;
  ++calls_;
  if (fail_after_ == 0 || (fault_ == Fault::kFull && !needs_space)) return Code::kGood;
  if (--fail_after_ > 0) return Code::kGood;
  has_failed_ = true;
  if (fault_ == Fault::kFull) return Code::kFull;
  if (fault_ == Fault::kIo) return Code::kIo;
  cut_at_end_ = true;
  return Code::kGood;
}

Code Disk::End() {
  if (!std::exchange(cut_at_end_, false)) return Code::kGood;
  is_dead_ = true;
  return Code::kIo;
}

void Disk::LoseSome(Inode& inode) {
  const std::uint64_t percent = random_.OneOf<std::uint64_t>({0, 25, 50, 75, 100});
  for (const Inode::Change& change : inode.unsynced) {
    if (change.truncates) {
      if (random_.Chance(percent)) inode.durable.resize(static_cast<std::size_t>(change.at));
      continue;
    }
    std::string_view rest = change.bytes;
    std::uint64_t at = change.at;
    while (!rest.empty()) {
      const auto size = std::min<std::size_t>(rest.size(), kSectorBytes - at % kSectorBytes);
      if (random_.Chance(percent)) Apply(inode.durable, at, rest.substr(0, size));
      rest.remove_prefix(size);
      at += size;
    }
  }
  inode.unsynced.clear();
}

void Disk::Restore() {
  std::set<std::string> paths;
  for (const Names* names : {&names_, &durable_names_}) {
    for (const auto& [path, inode] : *names) paths.insert(path);
  }
  for (const std::string& path : paths) {
    Names& names = random_.Chance(50) ? names_ : durable_names_;
    const auto found = names.find(path);
    const auto inode = found == names.end() ? nullptr : found->second;
    Bind(path, names_, inode);
    Bind(path, durable_names_, inode);
  }
  for (const auto& [path, inode] : names_) {
    LoseSome(*inode);
    inode->now = inode->durable;
  }
  is_dead_ = false;
  fail_after_ = 0;
}

std::uint64_t Disk::used_bytes() const {
  std::uint64_t bytes = 0;
  for (const auto& [path, inode] : names_) bytes += inode->now.size();
  return bytes;
}

std::shared_ptr<Inode> Disk::Find(const std::string& path) const {
  const auto found = names_.find(path);
  return found == names_.end() ? nullptr : found->second;
}

void Disk::Put(const std::string& path, std::string bytes) {
  auto inode = std::make_shared<Inode>();
  inode->durable = inode->now = std::move(bytes);
  Bind(path, names_, inode);
  Bind(path, durable_names_, inode);
}

void Disk::Bind(const std::string& path, Names& names, const std::shared_ptr<Inode>& inode) {
  if (inode == nullptr) {
    names.erase(path);
  } else {
    names[path] = inode;
  }
}

Code Disk::Open(const std::string& path, bool creates, std::shared_ptr<Inode>& inode) {
  inode = Find(path);
  const Code begun = Begin(creates && inode == nullptr);
  if (begun != Code::kGood) return begun;
  if (inode == nullptr && creates) {
    inode = std::make_shared<Inode>();
    names_[path] = inode;
  }
  const Code ended = End();
  return ended == Code::kGood && inode == nullptr ? Code::kIo : ended;
}

Code Disk::Read(const Inode& inode, std::uint64_t at, std::size_t size, std::string_view& bytes) {
  const Code begun = Begin(false);
  if (begun != Code::kGood) return begun;
  const std::string_view all = inode.now;
  bytes = at < all.size() ? all.substr(static_cast<std::size_t>(at), size) : std::string_view();
  return End();
}

Code Disk::Write(Inode& inode, std::uint64_t at, std::string_view bytes) {
  const Code begun = Begin(true);
  if (begun != Code::kGood) return begun;
  const std::uint64_t end = at + bytes.size();
  if (end > inode.now.size() && used_bytes() + (end - inode.now.size()) > room_) {
    return End() == Code::kGood ? Code::kFull : Code::kIo;
  }
  Apply(inode.now, at, bytes);
  inode.unsynced.push_back({at, std::string(bytes), false});
  return End();
}

Code Disk::Truncate(Inode& inode, std::uint64_t size) {
  const Code begun = Begin(false);
  if (begun != Code::kGood) return begun;
  inode.now.resize(static_cast<std::size_t>(size));
  inode.unsynced.push_back({size, {}, true});
  return End();
}

Code Disk::Sync(Inode& inode, bool with_folder) {
  const Code begun = Begin(false);
  if (begun == Code::kIo && !is_dead_)
    LoseSome(inode);  // the system forgets what it could not keep
  if (begun != Code::kGood) return begun;
  if (cut_at_end_) return End();  // Restore() decides how far it came
  for (const Inode::Change& change : inode.unsynced) {
    if (change.truncates) {
      inode.durable.resize(static_cast<std::size_t>(change.at));
    } else {
      Apply(inode.durable, change.at, change.bytes);
    }
  }
  inode.unsynced.clear();
  if (with_folder) durable_names_ = names_;
  return Code::kGood;
}

Code Disk::Delete(const std::string& path, bool syncs) {
  const Code begun = Begin(false);
  if (begun != Code::kGood) return begun;
  names_.erase(path);
  if (syncs && !cut_at_end_) durable_names_.erase(path);
  return End();
}

Result<store::Files::Seen> Disk::LookAt(const std::string& path) const {
  if (is_dead_) return Error(ErrorKind::kIo, "cannot look at " + path);
  const auto inode = Find(path);
  if (inode == nullptr) return Seen{};
  return Seen{Kind::kFile, inode->now.size()};
}

Result<void> Disk::Write(const std::string& path, std::string_view bytes) {
  auto inode = std::make_shared<Inode>();
  if (is_dead_) return ResultOf(Code::kIo, "create " + path);
  names_[path] = inode;
  Code code = Write(*inode, 0, bytes);
  if (code == Code::kGood) code = Sync(*inode, false);
  return ResultOf(code, "write " + path);
}

Result<void> Disk::Link(const std::string& from, const std::string& to) {
  const Code begun = Begin(true);
  if (begun != Code::kGood) return ResultOf(begun, "create " + to);
  if (Find(to) == nullptr) Bind(to, names_, Find(from));
  return ResultOf(End(), "create " + to);
}

void Disk::Remove(const std::string& path) {
  if (!is_dead_) names_.erase(path);
}

Result<void> Disk::SyncFolderOf(const std::string& path) {
  const Code begun = Begin(false);
  if (begun != Code::kGood || cut_at_end_) {
    return ResultOf(begun == Code::kGood ? End() : begun, "sync the folder of " + path);
  }
  durable_names_ = names_;
  return {};
}

std::optional<std::uint64_t> Disk::FreeBytes(const std::string&) const {
  const std::uint64_t used = used_bytes();
  return used < room_ ? room_ - used : 0;
}

}  // namespace dwell::sim
