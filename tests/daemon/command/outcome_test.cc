#include "daemon/command/outcome.h"

#include <gtest/gtest.h>

namespace dwell::command {
namespace {

std::string Words(std::string_view json) {
  const auto document = schemas::Document::Parse(json);
  return OutcomeInWords(document->root());
}

TEST(Outcome, WhatIsNoLongerKeptIsSaidWithWhenItWasSettled) {
  EXPECT_EQ(Words(R"({"state":"completed","settled_at":"2026-03-27T14:00:00Z","kept":false})"),
            "delivered on 2026-03-27T14:00:00Z, no longer kept");
  EXPECT_EQ(Words(R"({"state":"cancelled","settled_at":"2026-03-27T14:00:00Z","kept":false,
                      "why":"answered 403"})"),
            "cancelled on 2026-03-27T14:00:00Z, no longer kept; answered 403");
}

TEST(Outcome, WhatIsKeptSaysItsReasonAlone) {
  EXPECT_EQ(
      Words(R"({"state":"on-hold","settled_at":"2026-03-27T14:00:00Z","why":"answered 403"})"),
      "answered 403");
  EXPECT_EQ(Words(R"({"state":"completed","settled_at":"2026-03-27T14:00:00Z"})"), "-");
}

}  // namespace
}  // namespace dwell::command
