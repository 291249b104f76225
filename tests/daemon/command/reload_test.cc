#include "daemon/command/reload.h"

#include <gtest/gtest.h>

namespace dwell::command {
namespace {

std::string Words(std::string_view row) {
  return InForceInWords(schemas::Document::Parse(row)->root());
}

TEST(Reload, WhatIsInForceIsSaidAndWhatNeedsARestart) {
  EXPECT_EQ(Words(R"({"policy":"p","version":"3","tz_data":"2026f","needs_restart":[]})"),
            "in force: policy p, version 3; tz data 2026f\n");
  EXPECT_EQ(Words(R"({"policy":"p","version":"3","tz_data":"2026f",)"
                  R"("needs_restart":["store.path","endpoint.url"]})"),
            "in force: policy p, version 3; tz data 2026f\n"
            "needs a restart: store.path, endpoint.url\n");
}

}  // namespace
}  // namespace dwell::command
