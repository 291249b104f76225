#include "daemon/delivery/url.h"

#include <gmock/gmock.h>

namespace dwell::delivery {
namespace {

TEST(Url, PartsComeOutSeparately) {
  struct Row {
    const char* text;
    bool tls;
    const char *host, *port, *path;
  };
  for (const Row& row : std::vector<Row>{
           {"http://fhir.example.org", false, "fhir.example.org", "80", ""},
           {"https://fhir.example.org/", true, "fhir.example.org", "443", ""},
           {"HTTPS://FHIR.Example.org:8443/R4/", true, "fhir.example.org", "8443", "/R4"},
           {"http://127.0.0.1:1/a/b%20c", false, "127.0.0.1", "1", "/a/b%20c"},
           {"http://[2001:DB8::1]:65535/fhir", false, "2001:db8::1", "65535", "/fhir"},
           {"https://[::1]", true, "::1", "443", ""},
       }) {
    const auto url = ReadUrl(row.text);
    ASSERT_TRUE(url) << row.text << ": " << url.error().message();
    EXPECT_EQ(url->tls, row.tls) << row.text;
    EXPECT_EQ(url->host, row.host) << row.text;
    EXPECT_EQ(url->port, row.port) << row.text;
    EXPECT_EQ(url->path, row.path) << row.text;
  }
}

TEST(Url, WhatIsNotOneIsRefused) {
  for (const char* text :
       {"",
        "fhir.example.org",
        "ftp://h/",
        "http:/h",
        "http://",
        "http://:80/",
        "http://h:/",
        "http://h:0/",
        "http://h:65536/",
        "http://h:99999/",  // a port of five nines: some readers wrap it around to 34463
        "http://h:080808/",
        "http://h:+80/",
        "http://h:8o/",
        "http://user@h/",
        "http://u:p@h/",
        "http://h/?q=1",
        "http://h?q",
        "http://h/#f",
        "http://h /",
        "http://h/a b",
        "http://h/%2",
        "http://h/%zz",
        "http://h/\r\nX: y",
        "http://[::1",
        "http://[1.2.3.4]/",
        "http://[::1]x/",
        "http://-h/",
        "http://h\\x/",
        "http://h/\"",
        "http://\xC3\xA9/"}) {
    const auto url = ReadUrl(text);
    ASSERT_FALSE(url) << text;
    EXPECT_EQ(url.error().kind(), ErrorKind::kConfig) << text;
  }
}

TEST(Url, APasswordIsNotRepeatedInTheMessage) {
  const auto url = ReadUrl("https://clerk:hunter2@h/");
  ASSERT_FALSE(url);
  EXPECT_THAT(url.error().message(), testing::Not(testing::HasSubstr("hunter2")));
}

}  // namespace
}  // namespace dwell::delivery
