// The validator against another one (valijson, as in Debian's libvalijson-dev) on thousands of
// changed examples: both must accept or refuse the same, formats aside, which the other does not
// know.
#include <gmock/gmock.h>
#include <rapidjson/document.h>
#include <rapidjson/stringbuffer.h>
#include <rapidjson/writer.h>

#include <map>
#include <random>
#include <set>
#include <valijson/adapters/rapidjson_adapter.hpp>
#include <valijson/schema.hpp>
#include <valijson/schema_parser.hpp>
#include <valijson/validator.hpp>

#include "schemas/bundled.h"
#include "schemas/formats.h"
#include "tests/schemas/files.h"

namespace dwell::schemas {
namespace {

using Json = rapidjson::Document;
using valijson::adapters::RapidJsonAdapter;

constexpr int kMutants = 12'000;
constexpr std::uint32_t kSeed = 20260327;

/// The other validator reads the value of every `format` as a text and fails on numbers.
void RemoveFormats(rapidjson::Value* schema) {
  if (schema->IsArray()) {
    for (auto& element : schema->GetArray()) RemoveFormats(&element);
  }
  if (!schema->IsObject()) return;
  schema->RemoveMember("format");
  for (auto& member : schema->GetObject()) RemoveFormats(&member.value);
}

/// The contract of one kind for the other validator, the common parts moved into it.
std::unique_ptr<valijson::Schema> OtherSchema(std::string_view kind) {
  std::string text(*BundledText("event/" + std::string(kind) + ".schema.json"));
  constexpr std::string_view kFile = "common.schema.json";
  for (auto at = text.find(kFile); at != std::string::npos; at = text.find(kFile)) {
    text.erase(at, kFile.size());
  }
  Json schema;
  schema.Parse(text.c_str());
  Json common;
  common.Parse(std::string(*BundledText("event/common.schema.json")).c_str());
  auto& memory = schema.GetAllocator();
  if (!schema.HasMember("definitions")) {
    schema.AddMember("definitions", rapidjson::Value(rapidjson::kObjectType), memory);
  }
  for (auto& row : common["definitions"].GetObject()) {
    schema["definitions"].AddMember(rapidjson::Value(row.name, memory),
                                    rapidjson::Value(row.value, memory), memory);
  }
  RemoveFormats(&schema);
  auto result = std::make_unique<valijson::Schema>();
  valijson::SchemaParser parser(valijson::SchemaParser::kDraft4);
  parser.populateSchema(RapidJsonAdapter(schema), *result);
  return result;
}

/// Changes documents at random places, mostly into something nearly right.
class Mutator {
 public:
  explicit Mutator(const std::vector<std::string>& examples) : random_(kSeed) {
    for (const std::string& text : examples) examples_.emplace_back().Parse(text.c_str());
    pool_.Parse(
        R"([null, true, 0, 1, -1, 4, 5, 6, 10, 11, 13, 26, 27, 2.5, 1000, 1001, "", "x", "yes",
        "no", "present", "absent", "intact", "wet", "patent", "left", "placed", "failed", "planned",
        "insertion", "flush", "visual-infusion-phlebitis", "ins-phlebitis", "2026-03-27T10:00:00Z",
        "2026-02-30T10:00:00Z", "a-code", "No Code", "a--b", "\u00e9\u00e9", [], {}, ["a", "a"], ["a", "b"],
        {"system": "urn:x:y", "value": "1"}, {"value": 3}, {"fluid": "water"}, {"pain": "absent"}])");
    for (const std::size_t length : {64, 65, 128, 129}) {
      pool_.PushBack(rapidjson::Value(std::string(length, 'a').c_str(), pool_.GetAllocator()),
                     pool_.GetAllocator());
    }
  }

  void Next(Json* document) {
    document->CopyFrom(examples_[Below(examples_.size())], document->GetAllocator());
    const std::size_t changes = 1 + Below(3);
    for (std::size_t i = 0; i < changes; ++i) Change(document);
  }

 private:
  std::size_t Below(std::size_t limit) { return random_() % limit; }

  static void Collect(rapidjson::Value* value, std::vector<rapidjson::Value*>* containers) {
    if (value->IsObject()) {
      containers->push_back(value);
      for (auto& member : value->GetObject()) Collect(&member.value, containers);
    } else if (value->IsArray()) {
      containers->push_back(value);
      for (auto& element : value->GetArray()) Collect(&element, containers);
    }
  }

  rapidjson::Value Pooled(Json* document) {
    const auto index = static_cast<rapidjson::SizeType>(Below(pool_.Size()));
    return {pool_[index], document->GetAllocator()};
  }

  void Change(Json* document) {
    std::vector<rapidjson::Value*> containers;
    Collect(document, &containers);
    rapidjson::Value& at = *containers[Below(containers.size())];
    if (at.IsArray()) return ChangeArray(&at, document);
    switch (Below(4)) {
      case 0:
        if (!at.ObjectEmpty()) at.EraseMember(at.MemberBegin() + Offset(at.MemberCount()));
        return;
      case 1:
        return AddMember(&at, document);
      default:
        if (!at.ObjectEmpty()) {
          (at.MemberBegin() + Offset(at.MemberCount()))->value = Pooled(document);
        }
    }
  }

  std::ptrdiff_t Offset(std::size_t size) { return static_cast<std::ptrdiff_t>(Below(size)); }

  void ChangeArray(rapidjson::Value* at, Json* document) {
    if (at->Empty() || Below(3) == 0) {
      at->PushBack(Pooled(document), document->GetAllocator());
    } else if (Below(2) == 0) {
      at->PushBack(rapidjson::Value((*at)[0], document->GetAllocator()), document->GetAllocator());
    } else {
      at->Erase(at->Begin() + Offset(at->Size()));
    }
  }

  /// A member of another example, so that it often fits; or an unknown one.
  void AddMember(rapidjson::Value* at, Json* document) {
    Json& other = examples_[Below(examples_.size())];
    const auto member = other.MemberBegin() + Offset(other.MemberCount());
    rapidjson::Value name(Below(8) == 0 ? "unknown" : member->name.GetString(),
                          document->GetAllocator());
    if (at->HasMember(name)) return;
    at->AddMember(name, rapidjson::Value(member->value, document->GetAllocator()),
                  document->GetAllocator());
  }

  std::mt19937 random_;
  std::vector<Json> examples_;
  Json pool_;
};

std::string TextOf(const Json& document) {
  rapidjson::StringBuffer buffer;
  rapidjson::Writer<rapidjson::StringBuffer> writer(buffer);
  document.Accept(writer);
  return {buffer.GetString(), buffer.GetSize()};
}

TEST(Oracle, TheOtherValidatorAgreesOnThousandsOfChangedEvents) {
  const auto bundled = Bundled::Load();
  ASSERT_TRUE(bundled);
  std::map<std::string, std::unique_ptr<valijson::Schema>> others;
  std::vector<std::string> examples;
  for (const auto& [name, text] : ReadFolder("tests/schemas/events")) {
    examples.push_back(text);
    const std::string kind = name.substr(0, name.find('_'));
    if (!others.contains(kind)) others[kind] = OtherSchema(kind);
  }
  Mutator mutator(examples);
  int accepted = 0;
  int refused = 0;
  int by_format = 0;
  for (int i = 0; i < kMutants; ++i) {
    Json mutant;
    mutator.Next(&mutant);
    const std::string text = TextOf(mutant);
    const auto document = Document::Parse(text);
    ASSERT_TRUE(document) << text;
    const auto kind = document->root().Find("kind");
    if (!kind || !kind->is_string()) continue;
    const auto other = others.find(std::string(kind->AsString()));
    if (other == others.end()) continue;
    const auto violations = bundled->CheckEvent(document->root());
    const bool structural =
        std::any_of(violations.begin(), violations.end(),
                    [](const Violation& v) { return FindFormat(v.rule) == nullptr; });
    valijson::Validator validator;
    ASSERT_EQ(validator.validate(*other->second, RapidJsonAdapter(mutant), nullptr), !structural)
        << text << "\n"
        << Describe(violations);
    accepted += violations.empty() ? 1 : 0;
    refused += structural ? 1 : 0;
    by_format += !violations.empty() && !structural ? 1 : 0;
  }
  std::printf("accepted %d, refused %d, refused by format only %d\n", accepted, refused, by_format);
  EXPECT_GE(accepted, 500);
  EXPECT_GE(refused, 5000);
  EXPECT_GE(by_format, 100);
}

}  // namespace
}  // namespace dwell::schemas
