// The validator's own rules: places in reports, refusals to load, our own keywords, limits.
#include "schemas/schema.h"

#include <gmock/gmock.h>

#include "tests/schemas/files.h"

namespace dwell::schemas {
namespace {

/// The report on a value, or what is wrong with the schema.
std::string Report(const std::string& schema_text, const std::string& text) {
  const auto schema = Schema::Load(schema_text);
  if (schema.has_error()) return schema.error().message();
  const auto document = Document::Parse(text);
  if (document.has_error()) return document.error().rule;
  std::string report;
  for (const Violation& violation : schema->Check(document->root())) {
    report += violation.pointer + " " + violation.rule + "; ";
  }
  return report;
}

struct Reported {
  const char* schema;
  const char* value;
  const char* report;
};

const Reported kReported[] = {
    {R"({"properties":{"a":{"items":{"type":"string"}}}})", R"({"a":["x",1,"y",null]})",
     "/a/1 type; /a/3 type; "},
    {R"({"required":["a","b"],"properties":{"a":{}}})", "{}", "/a required; /b required; "},
    {R"({"required":["a/~"]})", "{}", "/a~1~0 required; "},
    {R"({"properties":{"a":{}},"additionalProperties":false})", R"({"b":1,"a":2,"c":3})",
     "/b additionalProperties; /c additionalProperties; "},
    {R"({"additionalProperties":{"type":"null"}})", R"({"a":null,"b":1})", "/b type; "},
    {R"({"minProperties":1,"maxProperties":2})", "{}", " minProperties; "},
    {R"({"minProperties":1,"maxProperties":2})", R"({"a":1,"b":1,"c":1})", " maxProperties; "},
    {R"({"minimum":0.30})", "0.3", ""},
    {R"({"minimum":0.3})", "0.29999999999999999999", " minimum; "},
    {R"({"minimum":0.3,"exclusiveMinimum":true})", "3e-1", " minimum; "},
    {R"({"maximum":9007199254740993})", "9007199254740993", ""},
    {R"({"maximum":9007199254740992})", "9007199254740993", " maximum; "},
    {R"({"maximum":-1})", "-1.5", ""},
    {R"({"maximum":-1})", "-0.5", " maximum; "},
    {R"({"minimum":0})", "-0", ""},
    {R"({"maximum":1})", "1e-99999999999999999999", ""},
    {R"({"type":"integer"})", "1", ""},
    {R"({"type":"integer"})", "1.0", " type; "},
    {R"({"type":"integer"})", "1e2", " type; "},
    {R"({"type":["string","null"]})", "true", " type; "},
    {R"({"maxLength":2})", R"("é€")", ""},
    {R"({"maxLength":2})", R"("é€😀")", " maxLength; "},
    {R"({"minLength":2})", R"("😀")", " minLength; "},
    {R"({"enum":[2.50,{"a":[1]}]})", "25e-1", ""},
    {R"({"enum":[2.50,{"a":[1]}]})", R"({"a":[1.0]})", ""},
    {R"({"enum":[2.50,{"a":[1]}]})", R"({"a":[2]})", " enum; "},
    {R"({"uniqueItems":true})", R"([1,"1",[1],{"a":1},true,null])", ""},
    {R"({"uniqueItems":true})", R"([{"a":1,"b":2},{"b":2.0,"a":1}])", " uniqueItems; "},
    {R"({"uniqueItems":true})", "[1,2,1.0]", " uniqueItems; "},
    {R"({"dependencies":{"a":["b"],"c":{"required":["d"]}}})", R"({"a":1,"c":1})",
     "/b dependencies; /d required; "},
    {R"({"not":{"required":["a"]}})", R"({"a":1})", " not; "},
    // The nearest alternative is the one whose listed texts fit.
    {R"({"anyOf":[{"properties":{"k":{"enum":["x"]}},"required":["a","b","c"]},
                  {"properties":{"k":{"enum":["y"]}},"required":["d"]}]})",
     R"({"k":"x"})", "/a required; /b required; /c required; "},
    {R"({"anyOf":[{"type":"string"},{"type":"object","required":["a"]}]})", "{}", "/a required; "},
    {R"({"oneOf":[{"type":"integer"},{"minimum":2}]})", "3", " oneOf; "},
    // A discriminator: the alternative that is meant is the only one that is asked.
    {R"({"oneOf":[{"properties":{"k":{"enum":["x"]},"v":{"type":"string"}},"required":["k"]},
                  {"properties":{"k":{"enum":["y"]},"v":{"type":"number"}},"required":["k"]}]})",
     R"({"v":1,"k":"x"})", "/v type; "},
    {R"({"oneOf":[{"properties":{"k":{"enum":["x"]}},"required":["k"]},
                  {"properties":{"k":{"enum":["y"]}},"required":["k"]}]})",
     R"({"k":"z"})", "/k enum; "},
    {R"({"oneOf":[{"properties":{"k":{"enum":["x"]}},"required":["k"]},
                  {"properties":{"k":{"enum":["y"]}},"required":["k"]}]})",
     "{}", "/k required; "},
    {R"({"allOf":[{"required":["a"]},{"required":["a","b"]}]})", "{}",
     "/a required; /b required; "},
    {R"({"definitions":{"n":{"properties":{"n":{"$ref":"#/definitions/n"}},
         "additionalProperties":false}},"allOf":[{"$ref":"#/definitions/n"}]})",
     R"({"n":{"n":{"n":{},"m":1}}})", "/n/n/m additionalProperties; "},
    {R"({"format":"fhir-decimal"})", R"("a text is left alone")", ""},
    {R"({"format":"moment"})", "12", ""},
    {R"({"dwell:choices":[{"of":["vA","vB"],"min":1}]})", "{}", " dwell:choices; "},
    {R"({"dwell:choices":[{"of":["vA","vB"],"min":1}]})", R"({"_vB":{}})", ""},
    {R"({"dwell:choices":[{"of":["vA","vB"],"min":0}]})", R"({"vA":1,"_vA":{}})", ""},
    {R"({"dwell:choices":[{"of":["vA","vB"],"min":0}]})", R"({"vA":1,"_vB":{}})",
     " dwell:choices; "},
    {R"({"dwell:choices":[{"of":["vA"],"min":1}],"properties":{"vA":{}},
         "additionalProperties":false})",
     R"({"_vA":{}})", "/_vA additionalProperties; "},
    {R"({"dwell:requiredPrimitives":["status"]})", "{}", "/status required; "},
    {R"({"dwell:requiredPrimitives":["status"]})", R"({"_status":{}})", ""},
    {R"({"dwell:references":["Patient"]})", R"({"reference":"Patient/1"})", ""},
    {R"({"dwell:references":["Patient"]})",
     R"({"reference":"https://x/fhir/Patient/1/_history/2"})", ""},
    {R"({"dwell:references":["Patient"]})", R"({"reference":"Group/1"})",
     "/reference dwell:references; "},
    {R"({"dwell:references":["Patient"]})", R"({"type":"Group","identifier":{}})",
     "/type dwell:references; "},
    {R"({"dwell:references":["Patient","Group"]})", R"({"type":"Group","reference":"Patient/1"})",
     "/type dwell:references; "},
    {R"({"dwell:references":["Resource"]})", R"({"type":"Location","reference":"Location/1"})", ""},
    {R"({"dwell:references":["Location"]})", R"({"reference":"Specimen/1"})",
     "/reference dwell:references; "},
    {R"({"dwell:references":["Patient"]})", R"({"reference":"Patient?identifier=a|b"})", ""},
    {R"({"enum":["ccc","b","a","","dddd","ab"]})", R"("ab")", ""},
    {R"({"enum":["ccc","b","a","","dddd","ab"]})", R"("")", ""},
    {R"({"enum":["ccc","b","a","","dddd","ab"]})", R"("aa")", " enum; "},
    {R"({"dwell:references":["Patient"]})", R"({"reference":"patient/1"})",
     "/reference dwell:references; "},
    {R"({"dwell:references":["Resource"]})", R"({"reference":"Device/1"})", ""},
    {R"({"dwell:references":["Resource"]})", R"({"reference":"Device/a b"})",
     "/reference dwell:references; "},
    {R"({"dwell:references":["Resource"]})",
     R"({"reference":"urn:uuid:C757873D-EC9A-4326-A141-556F43239520"})",
     "/reference dwell:references; "},
    {R"({"dwell:references":["Resource"]})",
     R"({"reference":"urn:uuid:c757873d-ec9a-4326-a141-556f43239520"})", ""},
    {R"({"dwell:references":["Resource"]})", R"({"reference":"#contained-1"})", ""},
};

TEST(Schema, ViolationsHaveTheirPlaceAndRule) {
  for (const Reported& row : kReported) {
    EXPECT_EQ(Report(row.schema, row.value), row.report) << row.schema << "\n" << row.value;
  }
}

TEST(Schema, WhatIsNotImplementedIsRefusedAtLoadWithItsPlace) {
  const std::pair<const char*, const char*> rows[] = {
      {R"({"properties":{"a":{"patternProperties":{}}}})", "#/properties/a/patternProperties"},
      {R"({"multipleOf":2})", "#/multipleOf"},
      {R"({"items":[{}]})", "#/items"},
      {R"({"pattern":"^a+$"})", "#/pattern"},
      {R"({"format":"email"})", "#/format"},
      {R"({"const":1})", "#/const"},
      {R"({"type":"date"})", "#/type"},
      {R"({"required":true})", "#/required"},
      {R"({"exclusiveMinimum":5})", "#/exclusiveMinimum"},
      {R"({"minLength":-1})", "#/minLength"},
      {R"({"maxLength":1e2})", "#/maxLength"},
      {R"({"$ref":"#/definitions/none"})", "leads nowhere"},
      {R"({"$ref":"other.json"})", "leads nowhere"},
      {R"({"$ref":"#"})", "leads back to itself"},
      {R"({"definitions":{"a":{"$ref":"#/definitions/b"},"b":{"$ref":"#/definitions/a"}}})",
       "leads back to itself"},
      {R"({"allOf":[{"$ref":"#"}]})", "without end"},
      {R"({"dependencies":{"a":{"anyOf":[{"$ref":"#"}]}}})", "without end"},
      {R"({"definitions":{"a":{}},"properties":{"x":{"$ref":"#/definitions/a","minimum":1}}})",
       "beside $ref"},
      {R"({"definitions":{"unused":{"else":{}}}})", "#/definitions/unused/else"},
      {R"({"id":"http://x.example/root"})", "#/id"},
      {R"({"dwell:choices":[{"of":["a"]}]})", "#/dwell:choices"},
      {R"({"dwell:other":1})", "#/dwell:other"},
      {R"([])", "must be an object"},
      {R"({)", "syntax"},
      {R"({"type":"string","type":"null"})", "duplicate-member"},
  };
  for (const auto& [text, where] : rows) {
    const auto schema = Schema::Load(text);
    ASSERT_TRUE(schema.has_error()) << text;
    EXPECT_EQ(schema.error().kind(), ErrorKind::kData);
    EXPECT_THAT(schema.error().message(), testing::HasSubstr(where)) << text;
  }
}

TEST(Schema, AReferenceMayLeadToAnotherFileAndBack) {
  const FileResolver files = [](std::string_view name) -> std::optional<std::string_view> {
    if (name != "b.json") return std::nullopt;
    return R"({"definitions":{"pair":{"properties":{"left":{"$ref":"#/definitions/leaf"},
               "right":{"$ref":"#/definitions/pair"}},"additionalProperties":false},
               "leaf":{"type":"integer"}}})";
  };
  const auto schema = Schema::Load(R"({"$ref":"b.json#/definitions/pair"})", files);
  ASSERT_TRUE(schema) << schema.error().message();
  const auto document = Document::Parse(R"({"left":1,"right":{"right":{"left":"x"}}})");
  EXPECT_EQ(Describe(schema->Check(document->root())),
            "/right/right/left type (a whole number without fraction or exponent)\n");
}

TEST(Schema, AnObjectMayHaveAnyNumberOfMembers) {
  for (const int count : {1, 63, 64, 65, 128, 300, 1000}) {
    std::string properties;
    std::string required;
    std::string value;
    for (int i = 0; i < count; ++i) {
      const std::string name = "\"member" + std::to_string(i) + "\"";
      const std::string comma = i == 0 ? "" : ",";
      properties += comma + name + R"(:{"type":"integer"})";
      required += comma + name;
      value += comma + name + ":" + std::to_string(i);
    }
    const std::string schema = R"({"properties":{)" + properties + R"(},"required":[)" + required +
                               R"(],"additionalProperties":false})";
    EXPECT_EQ(Report(schema, "{" + value + "}"), "") << count;
    const std::string last = "\"member" + std::to_string(count - 1) + "\"";
    const std::string other = value.substr(0, value.rfind(last)) + "\"other\":1}";
    EXPECT_EQ(Report(schema, "{" + other),
              "/other additionalProperties; /" + last.substr(1, last.size() - 2) + " required; ");
  }
}

TEST(Schema, ReportsAreBounded) {
  const auto schema = Schema::Load(R"({"additionalProperties":false})");
  std::string text = "{\"" + std::string(500, 'n') + "\":1";
  for (int i = 0; i < 500; ++i) text += ",\"m" + std::to_string(i) + "\":1";
  const auto document = Document::Parse(text + "}");
  const auto violations = schema->Check(document->root());
  EXPECT_EQ(violations.size(), 100U);
  EXPECT_EQ(violations[0].pointer, "") << "a long name is not repeated";
  EXPECT_EQ(schema->Check(document->root(), 3).size(), 3U);
}

}  // namespace
}  // namespace dwell::schemas
