// Reading the files again, as the admin socket tells of it.
#include "tests/daemon/admin/admin_rig.h"

namespace dwell::test {
namespace {

using testing::HasSubstr;

constexpr const char* kReload = R"({"request":"reload","by":"op-3","why":"limits of May"})";

TEST_F(AdminTest, ReadingTheFilesAgainTellsWhatIsInForceAndHowFarTheLinesAre) {
  admin::Followed some;
  some.over = false;
  some.of = 90;
  some.sums.looked_at = 50;
  admin::Followed waiting = some;
  waiting.waits_for = "the queue is full";
  admin::Followed all;
  all.sums.chosen = 60;
  all.sums.sent = 3;
  followed_ = {some, waiting, all};
  const std::string answer = Ask(kReload);
  EXPECT_THAT(answer, testing::StartsWith(
                          "{\"policy\":\"p\",\"version\":\"2\"}\n"
                          "{\"looked_at\":50,\"of\":90}\n"
                          "{\"looked_at\":50,\"of\":90,\"waits_for\":\"the queue is full\"}\n"
                          "{\"sums\":{\"lines\":60,"));
  EXPECT_THAT(answer, HasSubstr("\"sent\":3,"));
  EXPECT_THAT(answer, testing::EndsWith(std::string("\n") + kEnd));
  EXPECT_EQ(ordered_, "op-3: limits of May");
}

TEST_F(AdminTest, ReadingTheFilesAgainTellsWhatIsWrongAndMustBeAnsweredFor) {
  reloaded_ = Error(ErrorKind::kConfig, "policy.toml:3: /kinds: an object");
  EXPECT_THAT(Ask(kReload), HasSubstr("policy.toml:3: /kinds: an object"));
  ordered_.clear();
  EXPECT_THAT(Ask(R"({"request":"reload","by":"op-3"})"), HasSubstr("\"error\":"));
  EXPECT_EQ(ordered_, "");
}

TEST_F(AdminTest, TheStatusTellsWhatIsInForceAndWhatTheLastReloadWasRefusedFor) {
  EXPECT_THAT(
      Ask(R"({"request":"status"})"),
      HasSubstr("\"in_force\":{\"policy\":\"p\",\"version\":\"2\",\"tz_data\":\"2026f\","
                "\"read_at\":\"" +
                FormatInstant(Hour(1)) + "\",\"refused_at\":\"" + FormatInstant(Hour(2)) +
                "\",\"needs_restart\":[\"store.path\"],\"lines_to_follow\":{\"looked_at\":3,"
                "\"of\":9,\"waits_for\":\"full\"}}"));
}

}  // namespace
}  // namespace dwell::test
