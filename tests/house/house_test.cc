// The rules of the house, read off the source tree: who may include whom, where time and the
// network may be touched, how big files may get. A rule that is not tested is not a rule.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <map>
#include <regex>
#include <set>
#include <string>
#include <vector>

namespace {

namespace fs = std::filesystem;
using Lines = std::vector<std::string>;

const fs::path kRoot = DWELL_SOURCE_DIR;

Lines ReadLines(const fs::path& path) {
  std::ifstream in(path);
  Lines lines;
  for (std::string line; std::getline(in, line);) lines.push_back(line);
  return lines;
}

/// Every C++ file of ours below `folders`, as paths relative to the root.
std::vector<std::string> Sources(const std::vector<std::string>& folders) {
  std::vector<std::string> found;
  for (const auto& folder : folders) {
    for (const auto& entry : fs::recursive_directory_iterator(kRoot / folder)) {
      const auto extension = entry.path().extension();
      if (extension == ".h" || extension == ".cc") {
        found.push_back(fs::relative(entry.path(), kRoot).string());
      }
    }
  }
  std::sort(found.begin(), found.end());
  return found;
}

std::vector<std::string> Product() { return Sources({"schemas", "mapping", "daemon"}); }
std::vector<std::string> Everything() { return Sources({"schemas", "mapping", "daemon", "tests"}); }

std::string RoomOf(const std::string& file) { return fs::path(file).parent_path().string(); }

/// "file:line: text" for every line of `files` that matches `pattern`, outside the `allowed` files
/// or rooms.
std::vector<std::string> Matches(const std::vector<std::string>& files, const std::string& pattern,
                                 const std::set<std::string>& allowed = {}) {
  const std::regex regex(pattern);
  std::vector<std::string> found;
  for (const auto& file : files) {
    if (allowed.contains(file) || allowed.contains(RoomOf(file))) continue;
    const Lines lines = ReadLines(kRoot / file);
    for (std::size_t i = 0; i < lines.size(); ++i) {
      const std::string code = lines[i].substr(0, lines[i].find("//"));
      if (std::regex_search(code, regex)) {
        found.push_back(file + ":" + std::to_string(i + 1) + ": " + lines[i]);
      }
    }
  }
  return found;
}

/// Which rooms each room may use besides itself; the same edges as the link targets in CMake.
const std::map<std::string, std::set<std::string>>& Allowed() {
  static const std::set<std::string> schemas = {"schemas", "schemas/base", "schemas/json"};
  static const auto with = [](std::set<std::string> base, const std::set<std::string>& more) {
    base.insert(more.begin(), more.end());
    return base;
  };
  static const auto pure = with(
      schemas, {"mapping/event", "mapping/line", "mapping/due", "mapping/codes", "mapping/fhir"});
  static const auto disk = with(pure, {"daemon/base", "daemon/store"});
  static const std::map<std::string, std::set<std::string>> kAllowed = {
      {"schemas/base", {}},
      {"schemas/json", {"schemas/base"}},
      {"schemas", {"schemas/base", "schemas/json"}},
      {"mapping/event", schemas},
      {"mapping/line", with(schemas, {"mapping/event"})},
      {"mapping/due", with(schemas, {"mapping/event", "mapping/line"})},
      {"mapping/codes", schemas},
      {"mapping/fhir", pure},
      {"mapping/explain", pure},
      {"daemon/base", with(schemas, {"mapping/event"})},
      {"daemon/store", with(schemas, {"mapping/event", "mapping/line", "daemon/base"})},
      {"daemon/ledger", disk},
      {"daemon/alarm", with(disk, {"daemon/ledger"})},
      {"daemon/retention", with(disk, {"daemon/ledger"})},
      {"daemon/net", with(schemas, {"mapping/event", "daemon/base"})},
      {"daemon/intake", with(disk, {"daemon/net", "daemon/ledger"})},
      {"daemon/delivery", with(disk, {"daemon/net", "daemon/config"})},
      {"daemon/config", with(pure, {"daemon/base"})},
      {"daemon/reconcile",
       with(disk, {"daemon/net", "daemon/config", "daemon/delivery", "daemon/ledger"})},
      {"daemon/admin",
       with(disk, {"daemon/net", "daemon/ledger", "daemon/delivery", "daemon/config",
                   "daemon/intake", "daemon/alarm", "daemon/retention", "daemon/reconcile"})},
      {"daemon/search", with(disk, {"daemon/net", "daemon/ledger", "daemon/intake"})},
      {"daemon/operate", with(disk, {"daemon/net", "daemon/ledger", "daemon/intake",
                                     "daemon/delivery", "daemon/config"})},
      {"daemon/command", with(pure, {"mapping/explain", "daemon/base", "daemon/net",
                                     "daemon/config", "daemon/delivery"})},
  };
  return kAllowed;
}

TEST(House, RoomsIncludeOnlyTheRoomsTheyMay) {
  const std::regex include(R"re(^#include "([^"]+)")re");
  std::vector<std::string> broken;
  for (const auto& file : Product()) {
    const auto room = Allowed().find(RoomOf(file));
    if (room == Allowed().end()) continue;  // the programs' wiring: daemon/app, main files
    const Lines lines = ReadLines(kRoot / file);
    for (const auto& line : lines) {
      std::smatch match;
      if (!std::regex_search(line, match, include)) continue;
      const std::string used = RoomOf(match[1]);
      if (used != room->first && !room->second.contains(used)) broken.push_back(file + ": " + line);
    }
  }
  EXPECT_THAT(broken, testing::IsEmpty());
}

TEST(House, EveryRoomHasItsRowInTheTable) {
  const std::set<std::string> wiring = {"daemon", "daemon/app"};
  for (const auto& file : Product()) {
    EXPECT_TRUE(Allowed().contains(RoomOf(file)) || wiring.contains(RoomOf(file))) << file;
  }
}

TEST(House, SqlIsKnownOnlyToTheStore) {
  EXPECT_THAT(Matches(Product(), "sqlite3", {"daemon/store"}), testing::IsEmpty());
}

TEST(House, ThePureCoreKnowsNoNetworkDiskThreadOrClock) {
  const auto pure = Sources({"schemas", "mapping"});
  EXPECT_THAT(Matches(pure, R"(boost/(asio|beast)|<thread>|<fstream>|<filesystem>|::now\(\))"),
              testing::IsEmpty());
}

TEST(House, TheWallClockIsAskedInOnePlace) {
  EXPECT_THAT(Matches(Product(),
                      R"(system_clock::now|\btime\((nullptr|NULL|0|&)|gettimeofday|CLOCK_REALTIME)",
                      {"daemon/base/clock.cc"}),
              testing::IsEmpty());
}

TEST(House, OurCodeNeverThrows) {
  EXPECT_THAT(Matches(Product(), R"((^|[^_\w])throw\s)"), testing::IsEmpty());
}

// GCC 12.2 destroys such arguments twice; measured with AddressSanitizer, and reported in public
// for equeim/tremotesf2 (pull request 551) and chriskohlhoff/asio (issue 1007).
TEST(House, AwaitedCallsTakeNoBracesAndNoCapturingLambdas) {
  EXPECT_THAT(Matches(Everything(), R"(co_await[^;]*\(([^;]*,\s*)?(\[[^\]]|[A-Za-z_:]*\{))"),
              testing::IsEmpty());
}

TEST(House, NothingIsLeftForLater) {
  EXPECT_THAT(Matches(Everything(), "GTEST_SKIP|DISABLED_", {"tests/house/house_test.cc"}),
              testing::IsEmpty());
  const std::regex mark(
      "\\b(TO"
      "DO|FIX"
      "ME|XX"
      "X)\\b");
  for (const auto& file : Everything()) {
    for (const auto& line : ReadLines(kRoot / file)) {
      EXPECT_FALSE(std::regex_search(line, mark)) << file << ": " << line;
    }
  }
}

TEST(House, EveryHeaderSaysFirstWhatItIsFor) {
  for (const auto& file : Everything()) {
    if (!file.ends_with(".h")) continue;
    const Lines lines = ReadLines(kRoot / file);
    ASSERT_FALSE(lines.empty()) << file;
    EXPECT_TRUE(lines[0].starts_with("// ")) << file;
    EXPECT_NE(std::find(lines.begin(), lines.end(), "#pragma once"), lines.end()) << file;
  }
}

TEST(House, FilesStaySmall) {
  std::size_t over_250 = 0;
  const auto files = Everything();
  for (const auto& file : files) {
    const std::size_t length = ReadLines(kRoot / file).size();
    EXPECT_LE(length, 400U) << file;
    if (length > 250) ++over_250;
  }
  EXPECT_LE(over_250 * 10, files.size()) << "more than one file in ten is over 250 lines";
}

TEST(House, TheTopLevelIsExactlyAsAgreed) {
  const std::set<std::string> agreed = {"CMakeLists.txt", "README.md", "DEVELOPERS.md", "daemon",
                                        "mapping",        "schemas",   "tests",         "deploy"};
  std::set<std::string> found;
  for (const auto& entry : fs::directory_iterator(kRoot)) {
    const std::string name = entry.path().filename().string();
    if (name.starts_with(".") || name.starts_with("build")) continue;
    found.insert(name);
  }
  EXPECT_EQ(found, agreed);
}

}  // namespace
