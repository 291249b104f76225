#include "daemon/command/dues.h"

#include <gtest/gtest.h>

namespace dwell::command {
namespace {

std::string Words(std::string_view json) {
  const auto document = schemas::Document::Parse(json);
  return DuesInWords(document->root());
}

TEST(Dues, OneOverdueThingNeverHidesAnother) {
  EXPECT_EQ(
      Words(R"({"dues":[
      {"rule":"site-check-due","stage":"overdue","due_at":"2026-03-27T14:00:00Z"},
      {"rule":"dressing-change-due","stage":"due-soon","due_at":"2026-03-29T10:00:00Z"},
      {"rule":"removal-due","stage":"overdue","due_at":"2026-03-30T10:00:00Z"}]})"),
      "site-check-due overdue 2026-03-27T14:00:00Z, removal-due overdue 2026-03-30T10:00:00Z, "
      "dressing-change-due due-soon 2026-03-29T10:00:00Z");
}

TEST(Dues, WhenNothingPressesTheNextThingIsNamed) {
  EXPECT_EQ(Words(R"({"dues":[
      {"rule":"site-check-due","stage":"not-yet-due","due_at":"2026-03-27T14:00:00Z"},
      {"rule":"removal-due","stage":"not-yet-due","due_at":"2026-03-30T10:00:00Z"}]})"),
            "site-check-due by 2026-03-27T14:00:00Z");
}

TEST(Dues, OfADamagedLineNobodyKnowsThatNothingIsDue) {
  EXPECT_EQ(Words(R"({"phase":"unreadable"})"), "not known: its stored events cannot be read");
}

TEST(Dues, NoDuesAreADash) {
  EXPECT_EQ(Words(R"({"dues":[]})"), "-");
  EXPECT_EQ(Words("{}"), "-");
}

}  // namespace
}  // namespace dwell::command
