#include "daemon/command/endpoint_words.h"

#include <gtest/gtest.h>

namespace dwell::command {
namespace {

struct Row {
  const char* row;
  const char* endpoint;
  const char* configured;
};

TEST(EndpointWords, SayWhichEndpointAndWhetherItIsStillConfigured) {
  const Row rows[] = {
      {R"({})", "endpoint", "no: nothing is sent there"},
      {R"({"endpoint":"archive","configured":true})", "archive", "yes"},
      {R"({"endpoint":"archive","endpoint_configured":false,"configured":false})",
       "archive (no longer configured)", "no: nothing is sent there"},
  };
  for (const Row& row : rows) {
    const auto document = schemas::Document::Parse(row.row);
    ASSERT_TRUE(document);
    EXPECT_EQ(EndpointInWords(document->root()), row.endpoint);
    EXPECT_EQ(ConfiguredInWords(document->root()), row.configured);
  }
}

}  // namespace
}  // namespace dwell::command
