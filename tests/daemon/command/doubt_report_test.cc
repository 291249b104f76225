// The table of doubtful patient identifiers, from the daemon's status.
#include "daemon/command/doubt_report.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace dwell::command {
namespace {

std::string Words(const std::string& status) {
  const auto document = schemas::Document::Parse(status);
  return document ? DoubtfulIdentifiersInWords(document->root()) : "no JSON";
}

TEST(DoubtReport, IsEmptyWhenThereAreNone) {
  EXPECT_EQ(Words(R"({"doubtful_identifiers":[]})"), "");
  EXPECT_EQ(Words("{}"), "");
}

TEST(DoubtReport, ListsThemBySourceAndSystemAndThoseThereWasNoRoomFor) {
  const std::string words = Words(R"({"doubtful_identifiers":[
      {"source":"ward-7b","system":"urn:oid:1.2.208.176.1.2","events":3,
       "first_seen":"2026-03-02T09:00:00Z","last_seen":"2026-03-03T09:00:00Z"},
      {"events":7,"first_seen":"2026-03-02T09:00:00Z","last_seen":"2026-03-03T09:00:00Z"}]})");
  EXPECT_THAT(words, testing::ContainsRegex("ward-7b +urn:oid:1.2.208.176.1.2 +3 "));
  EXPECT_THAT(words, testing::ContainsRegex("further ones. +7 "));
}

}  // namespace
}  // namespace dwell::command
