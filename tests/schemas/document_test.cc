// What is an acceptable JSON document (RFC 8259, RFC 6901) and what a value gives back.
#include "schemas/json/document.h"

#include <gmock/gmock.h>

#include <string>

namespace dwell::schemas {
namespace {

using std::string_literals::operator""s;

struct Refused {
  const char* name;
  std::string text;
  const char* rule;
  const char* pointer;
};

const Refused kRefused[] = {
    {"empty", "", "syntax", ""},
    {"white space only", " \n\t ", "syntax", ""},
    {"byte order mark", "\xEF\xBB\xBF{}", "encoding", ""},
    {"UTF-16", "{\0}\0"s, "nul", ""},
    {"two documents", "{} {}", "syntax", ""},
    {"text after U+0000", "{}\0 garbage"s, "nul", ""},
    {"raw U+0000 in a string", "{\"a\":\"x\0y\"}"s, "nul", ""},
    {"escaped U+0000 in a string", R"({"a":["x","\u0000"]})", "nul", "/a"},
    {"escaped U+0000 in a name", R"({"a\u0000":1})", "nul", ""},
    {"trailing comma", R"({"a":1,})", "syntax", ""},
    {"trailing comma in an array", R"([1,])", "syntax", ""},
    {"single quotes", "{'a':1}", "syntax", ""},
    {"comment", "{/*c*/}", "syntax", ""},
    {"not a number", R"({"a":NaN})", "syntax", "/a"},
    {"infinity", R"({"a":{"b":Infinity}})", "syntax", "/a/b"},
    {"leading zero", R"({"a":01})", "syntax", ""},
    {"leading plus", R"({"a":+1})", "syntax", "/a"},
    {"bare point", R"({"a":1.})", "syntax", "/a"},
    {"bare exponent", R"({"a":1e})", "syntax", "/a"},
    {"hexadecimal", R"({"a":0x10})", "syntax", ""},
    {"line feed in a string", "{\"a\":\"x\ny\"}", "syntax", "/a"},
    {"unknown escape", R"({"a":"\x41"})", "syntax", "/a"},
    {"open string", R"({"a":"x)", "syntax", "/a"},
    {"open object", R"({"a":{"b":1)", "syntax", "/a"},
    {"cut literal", R"([tru])", "syntax", ""},
    {"lone high surrogate", R"({"a":"\ud800"})", "encoding", "/a"},
    {"lone low surrogate", R"({"a":"\udc00"})", "encoding", "/a"},
    {"surrogates in wrong order", R"({"a":"\udc00\ud800"})", "encoding", "/a"},
    {"surrogate in UTF-8", "{\"a\":\"\xED\xA0\x80\"}", "encoding", ""},
    {"overlong", "{\"a\":\"\xC0\xAF\"}", "encoding", ""},
    {"cut sequence", "{\"a\":\"\xE2\x82\"}", "encoding", ""},
    {"above U+10FFFF", "{\"a\":\"\xF4\x90\x80\x80\"}", "encoding", ""},
    {"Latin-1", "{\"a\":\"M\xFCller\"}", "encoding", ""},
    {"duplicate name", R"({"x":{"a":1,"b":2,"a":3}})", "duplicate-member", "/x/a"},
    {"duplicate by escape", R"({"a":1,"\u0061":2})", "duplicate-member", "/a"},
    {"duplicate empty name", R"({"":1,"":2})", "duplicate-member", "/"},
    {"duplicate with escapes in its pointer", R"([{"a/~":1,"a/~":2}])", "duplicate-member",
     "/0/a~1~0"},
};

TEST(Document, WhatIsNoJsonIsRefusedWithItsPlaceAndRule) {
  for (const Refused& row : kRefused) {
    const auto document = Document::Parse(row.text);
    ASSERT_TRUE(document.has_error()) << row.name;
    EXPECT_EQ(document.error().rule, row.rule) << row.name;
    EXPECT_EQ(document.error().pointer, row.pointer) << row.name;
    EXPECT_NE(document.error().expected, "") << row.name;
    EXPECT_LE(document.error().offset, row.text.size()) << row.name;
  }
}

TEST(Document, AControlInAStringIsRefusedWhereverItStands) {
  // Strings are looked through 16 bytes at a time: every control, at every place of such a step,
  // before and behind an escape.
  for (char control = 1; control < 0x20; ++control) {
    for (std::size_t place = 0; place < 40; ++place) {
      for (const char* before : {"", "\\n"}) {
        std::string inside(40, 'x');
        inside[place] = control;
        const std::string text = "{\"a\":\"" + (before + inside) + "\"}";
        const auto document = Document::Parse(text);
        ASSERT_FALSE(document.has_value()) << int{control} << " at " << place;
        EXPECT_EQ(document.error().rule, "syntax");
      }
    }
  }
}

TEST(Document, StringsOfEveryLengthAndEscapeAreDecoded) {
  for (std::size_t length = 0; length < 70; ++length) {
    for (std::size_t escape = 0; escape <= length; ++escape) {
      std::string plain;
      for (std::size_t i = 0; i < length; ++i) plain += static_cast<char>('a' + i % 26);
      const std::string decoded = plain.substr(0, escape) + "\"" + plain.substr(escape);
      const std::string text =
          "[\"" + plain.substr(0, escape) + "\\\"" + plain.substr(escape) + "\",\"next\"]";
      const auto document = Document::Parse(text);
      ASSERT_TRUE(document.has_value()) << text;
      EXPECT_EQ(document->root().first()->AsString(), decoded);
      EXPECT_EQ(document->At("/1")->AsString(), "next");
    }
  }
}

TEST(Document, NamesThatDifferInOneByteOnlyAreDifferentMembers) {
  for (std::size_t length = 1; length < 40; ++length) {
    for (std::size_t place = 0; place < length; ++place) {
      std::string other(length, 'n');
      other[place] = 'm';
      const std::string text = "{\"" + std::string(length, 'n') + "\":1,\"" + other + "\":2}";
      const auto document = Document::Parse(text);
      ASSERT_TRUE(document.has_value()) << text;
      EXPECT_EQ(document->root().Find(other)->NumberText(), "2");
      EXPECT_FALSE(document->root().Find(other + "n").has_value());
    }
  }
}

TEST(Document, NumbersKeepTheirText) {
  for (const char* number :
       {"0", "-0", "2.50", "5.0", "1e2", "1E+2", "5.00E-3", "-12.50",
        "123456789012345678901234567890", "0.1000000000000000055511151231257827",
        "18446744073709551616", "1e308"}) {
    const auto alone = Document::Parse(number);
    ASSERT_TRUE(alone) << number;
    EXPECT_EQ(alone->root().NumberText(), number);
    const std::string text = "{\"a\":[" + std::string(number) + " , " + number + "]}";
    const auto inside = Document::Parse(text);
    ASSERT_TRUE(inside) << text;
    EXPECT_EQ(inside->At("/a/0")->NumberText(), number);
    EXPECT_EQ(inside->At("/a/1")->NumberText(), number);
  }
}

TEST(Document, StringsAreDecoded) {
  const auto document = Document::Parse(
      R"({"plain":"abc","escapes":"\"\\\/\b\f\n\r\t","wide":"\u00e9\u20ac\ud83d\ude00","":"\u007f"})");
  ASSERT_TRUE(document);
  EXPECT_EQ(document->At("/plain")->AsString(), "abc");
  EXPECT_EQ(document->At("/escapes")->AsString(), "\"\\/\b\f\n\r\t");
  EXPECT_EQ(document->At("/wide")->AsString(), "é€😀");
  EXPECT_EQ(document->At("/")->AsString(), "\x7f");
}

TEST(Document, ChildrenAreWalkedInDocumentOrder) {
  const auto document = Document::Parse(R"({"a":{"b":[1,[],{}]},"c":true,"d":null,"e":[[2],"x"]})");
  ASSERT_TRUE(document);
  std::vector<std::string> names;
  for (Value child : document->root()) names.emplace_back(child.name());
  EXPECT_THAT(names, testing::ElementsAre("a", "c", "d", "e"));
  EXPECT_EQ(document->root().size(), 4U);
  EXPECT_EQ(document->At("/a/b")->size(), 3U);
  EXPECT_TRUE(document->At("/a/b/1")->is_array());
  EXPECT_EQ(document->At("/a/b/1")->first(), std::nullopt);
  EXPECT_TRUE(document->At("/c")->AsBool());
  EXPECT_EQ(document->At("/d")->kind(), Kind::kNull);
  EXPECT_EQ(document->At("/e/0/0")->NumberText(), "2");
  EXPECT_EQ(document->At("/e/1")->AsString(), "x");
  EXPECT_EQ(document->root().next(), std::nullopt);
}

// The example document and pointers of RFC 6901 section 5.
TEST(Document, PointersOfTheStandardFindTheirValues) {
  const auto document = Document::Parse(
      R"({"foo":["bar","baz"],"":0,"a/b":1,"c%d":2,"e^f":3,"g|h":4,"i\\j":5,"k\"l":6," ":7,"m~n":8})");
  ASSERT_TRUE(document);
  EXPECT_EQ(document->At("")->size(), 10U);
  EXPECT_EQ(document->At("/foo")->size(), 2U);
  EXPECT_EQ(document->At("/foo/0")->AsString(), "bar");
  const std::pair<const char*, const char*> numbers[] = {
      {"/", "0"},     {"/a~1b", "1"}, {"/c%d", "2"}, {"/e^f", "3"}, {"/g|h", "4"},
      {"/i\\j", "5"}, {"/k\"l", "6"}, {"/ ", "7"},   {"/m~0n", "8"}};
  for (const auto& [pointer, number] : numbers) {
    ASSERT_TRUE(document->At(pointer)) << pointer;
    EXPECT_EQ(document->At(pointer)->NumberText(), number);
    EXPECT_EQ(document->At(pointer)->Pointer(), pointer);
  }
  EXPECT_EQ(document->At("/foo/1")->Pointer(), "/foo/1");
  for (const char* nowhere : {"/foo/2", "/foo/01", "/foo/-", "/foo/", "/foo/0/x", "foo", "/m~n",
                              "/m~2n", "/nothing", "/foo/99999999999999999999"}) {
    EXPECT_EQ(document->At(nowhere), std::nullopt) << nowhere;
  }
}

TEST(Document, LimitsHoldExactly) {
  ParseLimits limits;
  limits.bytes_max = 12;
  EXPECT_TRUE(Document::Parse(R"({"a":"1234"})", limits));
  EXPECT_EQ(Document::Parse(R"({"a":"12345"})", limits).error().rule, "size");
  limits = {};
  limits.depth_max = 3;
  EXPECT_TRUE(Document::Parse(R"({"a":[{}]})", limits));
  const auto deep = Document::Parse(R"({"a":[{"b":[]}]})", limits);
  EXPECT_EQ(deep.error().rule, "depth");
  EXPECT_EQ(deep.error().pointer, "/a/0/b");
  limits = {};
  limits.values_max = 4;
  EXPECT_TRUE(Document::Parse("[1,2,3]", limits));
  EXPECT_EQ(Document::Parse("[1,2,3,4]", limits).error().rule, "count");
}

TEST(Document, DepthCannotExhaustTheStack) {
  ParseLimits limits;
  limits.bytes_max = 4 << 20;
  limits.depth_max = 1 << 20;
  limits.values_max = 1 << 21;
  EXPECT_EQ(Document::Parse(std::string(1 << 21, '['), limits).error().rule, "depth");
  const std::string balanced = std::string(1 << 20, '[') + std::string(1 << 20, ']');
  EXPECT_TRUE(Document::Parse(balanced, limits));
}

std::string WideObject(std::size_t members, std::string_view last) {
  std::string text = "{";
  for (std::size_t i = 0; i < members; ++i) text += "\"member" + std::to_string(i) + "\":1,";
  return text + "\"" + std::string(last) + "\":1}";
}

TEST(Document, DuplicatesAreFoundInObjectsOfAnyWidth) {
  ParseLimits limits;
  limits.bytes_max = 4 << 20;
  limits.values_max = 200'000;
  for (const std::size_t members : {2, 31, 32, 33, 70, 100'000}) {
    EXPECT_TRUE(Document::Parse(WideObject(members, "other"), limits)) << members;
    const auto twice = Document::Parse(WideObject(members, "member1"), limits);
    ASSERT_TRUE(twice.has_error()) << members;
    EXPECT_EQ(twice.error().rule, "duplicate-member");
    EXPECT_EQ(twice.error().pointer, "/member1");
  }
}

TEST(Document, ProblemsNeverRepeatLongNamesOrValues) {
  const std::string name(1000, 'n');
  const auto duplicate = Document::Parse("{\"" + name + "\":1,\"" + name + "\":2}");
  EXPECT_EQ(duplicate.error().pointer, "");
  EXPECT_LT(duplicate.error().expected.size(), 200U);
}

TEST(Document, ADocumentMayMove) {
  auto document = Document::Parse("\"a\"");
  ASSERT_TRUE(document);
  const Document moved = std::move(*document);
  EXPECT_EQ(moved.root().AsString(), "a");
}

}  // namespace
}  // namespace dwell::schemas
