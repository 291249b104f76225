// The frozen bundles of the golden pairs in every style: nothing lost, nothing that the style does
// not allow. Rules: FHIR R4 http.html#trules (transactions), #brules (batches), #cond-update,
// #ccreate; references.html#logical; datatypes.html#Identifier.
#include "daemon/delivery/rewrite.h"

#include <gmock/gmock.h>

#include <functional>
#include <set>

#include "mapping/fhir/references.h"
#include "schemas/bundled.h"
#include "tests/daemon/delivery/golden_bundles.h"

namespace dwell::delivery {
namespace {

using schemas::Document;
using schemas::Value;
using testing::HasSubstr;
using testing::Not;

constexpr Interaction kAll[] = {Interaction::kTransaction, Interaction::kBatch,
                                Interaction::kSingle};
constexpr Identity kOurs = Identity::kUpdateAsCreate;
constexpr Identity kTheirs = Identity::kConditionalUpdate;

std::string Text(std::optional<Value> object, std::string_view name) {
  const auto value = object && object->is_object() ? object->Find(name) : std::nullopt;
  return value && value->is_string() ? std::string(value->AsString()) : std::string();
}

std::vector<const Entry*> Pointers(const std::vector<Entry>& entries) {
  std::vector<const Entry*> pointers;
  for (const Entry& entry : entries) pointers.push_back(&entry);
  return pointers;
}

/// Calls `see` with each object that has the text "reference".
void EachReference(Value value, const std::function<void(Value, std::string)>& see) {
  if (value.is_object() && value.Find("reference") && value.Find("reference")->is_string()) {
    see(value, Text(value, "reference"));
  }
  if (!value.is_object() && !value.is_array()) return;
  for (const Value child : value) EachReference(child, see);
}

/// What remains when everything is left out that a style may change.
std::string Rest(Value value) {
  if (!value.is_object() && !value.is_array()) {
    return value.is_string()   ? std::string(value.AsString())
           : value.is_number() ? std::string(value.NumberText())
           : value.is_bool()   ? (value.AsBool() ? "true" : "false")
                               : "null";
  }
  std::string rest = value.is_object() ? "{" : "[";
  for (const Value child : value) {
    const std::string_view name = child.name();
    const bool varies = name == "id" || name == "identifier" || name == "reference" ||
                        name == "type" || name == "tag";
    if (!varies || (name == "reference" && !child.is_string()) ||
        (name == "type" && !child.is_string())) {
      rest.append(name).append(":").append(Rest(child)).append(",");
    }
  }
  return rest + (value.is_object() ? "}" : "]");
}

TEST(Rewrite, TheDefaultStyleGivesTheFrozenBundleByteForByte) {
  for (const GoldenBundle& golden : GoldenBundles()) {
    const auto entries = EntriesOf(golden.body, Interaction::kTransaction, kOurs);
    ASSERT_EQ(entries.size(), golden.entries) << golden.name;
    EXPECT_EQ(BundleOf(Interaction::kTransaction, Pointers(entries)), golden.body) << golden.name;
  }
}

TEST(Rewrite, EveryStyleCarriesEverythingAndAlwaysTheSameBytes) {
  for (const GoldenBundle& golden : GoldenBundles()) {
    const auto frozen = Document::Parse(golden.body);
    for (const Interaction interaction : kAll) {
      for (const Identity identity : {kOurs, kTheirs}) {
        const auto entries = EntriesOf(golden.body, interaction, identity);
        const auto again = EntriesOf(golden.body, interaction, identity);
        ASSERT_EQ(entries.size(), golden.entries) << golden.name;
        std::size_t i = 0;
        for (const Value entry : *frozen->root().Find("entry")) {
          EXPECT_EQ(entries[i].resource, again[i].resource);
          const auto resource = Document::Parse(entries[i].resource);
          ASSERT_TRUE(resource.has_value()) << golden.name;
          EXPECT_EQ(Rest(resource->root()), Rest(*entry.Find("resource"))) << golden.name;
          ++i;
        }
      }
    }
  }
}

// Our profiles want literal references among our own resources, which another style cannot give.
TEST(Rewrite, WhatIsWrittenIsStillLegalFhir) {
  for (const FhirRelease release : {FhirRelease::kR4, FhirRelease::kR5}) {
    const auto bundled = schemas::Bundled::Load(release, schemas::Structure::kFhir);
    ASSERT_TRUE(bundled.has_value());
    for (const GoldenBundle& golden : GoldenBundles()) {
      if (golden.release != release) continue;
      for (const Interaction interaction : kAll) {
        for (const Entry& entry : EntriesOf(golden.body, interaction, kTheirs)) {
          const auto resource = Document::Parse(entry.resource);
          const auto violations = bundled->CheckResource(resource->root());
          EXPECT_TRUE(violations.empty())
              << golden.name << " " << entry.type << " " << violations.front().pointer << " "
              << violations.front().expected;
        }
      }
    }
  }
}

TEST(Rewrite, AConditionalUpdateGoesByAnIdentifierThatTheResourceCarries) {
  std::set<std::string> updated, created;
  for (const GoldenBundle& golden : GoldenBundles()) {
    for (const Interaction interaction : kAll) {
      for (const Entry& entry : EntriesOf(golden.body, interaction, kTheirs)) {
        const auto document = Document::Parse(entry.resource);
        const Value resource = document->root();
        EXPECT_FALSE(resource.Find("id").has_value()) << "the endpoint chooses it";
        if (entry.method == "POST") {
          created.insert(entry.type);
          EXPECT_EQ(entry.url, entry.type);
          const std::string uuid = entry.full_url.substr(entry.full_url.rfind(':') + 1);
          EXPECT_EQ(entry.if_none_exist, "_tag=urn%3Aietf%3Arfc%3A3986%7Curn%3Auuid%3A" + uuid);
          EXPECT_THAT(entry.resource, HasSubstr(R"("tag":[{"system":"urn:ietf:rfc:3986","code":")" +
                                                entry.full_url + R"("}])"));
          continue;
        }
        updated.insert(entry.type);
        ASSERT_EQ(entry.method, "PUT");
        const auto identifiers = resource.Find("identifier");
        ASSERT_TRUE(identifiers && identifiers->is_array()) << entry.type;
        EXPECT_EQ(entry.url,
                  fhir::ConditionalReference(entry.type, Text(identifiers->first(), "system"),
                                             Text(identifiers->first(), "value")));
        EXPECT_THAT(entry.resource, HasSubstr(R"({"system":"urn:ietf:rfc:3986","value":")" +
                                              entry.full_url + R"("}])"));
      }
    }
  }
  EXPECT_THAT(created, testing::ElementsAre("Provenance"));
  EXPECT_THAT(updated,
              testing::ElementsAre("Device", "DeviceAssociation", "DeviceUsage",
                                   "DeviceUseStatement", "Observation", "Procedure", "Task"));
}

TEST(Rewrite, InATransactionReferencesAreUrnsInsideAndSearchesOutside) {
  std::size_t inside = 0, outside = 0;
  for (const GoldenBundle& golden : GoldenBundles()) {
    const auto entries = EntriesOf(golden.body, Interaction::kTransaction, kTheirs);
    std::set<std::string> full_urls;
    for (const Entry& entry : entries) full_urls.insert(entry.full_url);
    for (const Entry& entry : entries) {
      const auto document = Document::Parse(entry.resource);
      EachReference(document->root(), [&](Value, const std::string& target) {
        if (target.starts_with("urn:uuid:")) {
          ++inside;
          EXPECT_TRUE(full_urls.contains(target)) << golden.name;
          return;
        }
        ++outside;
        EXPECT_THAT(target, HasSubstr("?identifier=")) << golden.name;
        for (const std::string& url : full_urls) {
          EXPECT_THAT(target, Not(HasSubstr(url.substr(url.rfind(':') + 1)))) << golden.name;
        }
      });
    }
  }
  EXPECT_GT(inside, 500U);
  EXPECT_GT(outside, 100U);
}

TEST(Rewrite, OutsideOfATransactionNothingHangsOnOtherEntries) {
  std::size_t logical = 0;
  for (const GoldenBundle& golden : GoldenBundles()) {
    for (const Interaction interaction : {Interaction::kBatch, Interaction::kSingle}) {
      for (const Entry& entry : EntriesOf(golden.body, interaction, kTheirs)) {
        const auto document = Document::Parse(entry.resource);
        EachReference(document->root(), [&](Value, const std::string& target) {
          ADD_FAILURE() << golden.name << " " << target;
        });
        std::size_t at = 0;
        const std::string mark = R"("identifier":{"system":"urn:ietf:rfc:3986","value":"urn:uuid:)";
        while ((at = entry.resource.find(mark, at + 1)) != std::string::npos) ++logical;
      }
      for (const Entry& entry : EntriesOf(golden.body, interaction, kOurs)) {
        EXPECT_THAT(entry.resource, Not(HasSubstr("?identifier="))) << golden.name;
        EXPECT_THAT(entry.resource, Not(HasSubstr(R"("reference":"urn:)"))) << golden.name;
      }
    }
  }
  EXPECT_GT(logical, 1000U);
}

TEST(Rewrite, WhatIsReferredToComesFirst) {
  for (const GoldenBundle& golden : GoldenBundles()) {
    const auto entries = EntriesOf(golden.body, Interaction::kSingle, kOurs);
    std::set<std::string> all, before;
    for (const Entry& entry : entries) all.insert(entry.url);
    for (const Entry& entry : entries) {
      const auto document = Document::Parse(entry.resource);
      EachReference(document->root(), [&](Value, const std::string& target) {
        EXPECT_TRUE(before.contains(target) || !all.contains(target)) << golden.name << target;
      });
      before.insert(entry.url);
    }
  }
}

TEST(Rewrite, AReferenceInWords) {
  const std::string uuid = "1ceb9cb1-085d-574e-a0a7-c5d190def4e5";
  const auto bundle = [&](const std::string& about) {
    return R"({"resourceType":"Bundle","type":"transaction","entry":[{"fullUrl":"urn:uuid:)" +
           uuid + R"(","resource":{"resourceType":"Task","id":"dwell-)" + uuid +
           R"(","identifier":[{"system":"urn:s","value":"a b"}],"focus":)" + about +
           R"(},"request":{"method":"PUT","url":"Task/dwell-)" + uuid + R"("}}]})";
  };
  const std::string other = "0d43c419-e154-5712-b8b2-51550041e7ce";
  const std::string ours = R"({"reference":"Device/dwell-)" + other + R"("})";
  const std::string urn = R"({"system":"urn:ietf:rfc:3986","value":"urn:uuid:)";
  const std::string known =
      R"({"reference":"Patient?identifier=a%7Cb","type":"Patient","identifier":{"system":"a"}})";
  struct Row {
    Interaction interaction;
    Identity identity;
    std::string from, to;
  };
  const std::vector<Row> rows = {
      {Interaction::kBatch, kOurs, ours, ours},
      {Interaction::kTransaction, kTheirs, ours,
       R"({"reference":"Device?identifier=urn%3Aietf%3Arfc%3A3986%7Curn%3Auuid%3A)" + other +
           R"("})"},
      {Interaction::kSingle, kTheirs, ours,
       R"({"type":"Device","identifier":)" + urn + other + R"("}})"},
      {Interaction::kTransaction, kTheirs, known, known},
      {Interaction::kSingle, kOurs, known, R"({"type":"Patient","identifier":{"system":"a"}})"},
      // What a site adds is not ours to change.
      {Interaction::kSingle, kTheirs, R"({"reference":"Device/7","display":"x"})",
       R"({"reference":"Device/7","display":"x"})"},
      {Interaction::kSingle, kTheirs, R"({"reference":"https://x.example/?identifier=1"})",
       R"({"reference":"https://x.example/?identifier=1"})"},
  };
  for (const Row& row : rows) {
    const auto entries = EntriesOf(bundle(row.from), row.interaction, row.identity);
    ASSERT_EQ(entries.size(), 1U) << row.from;
    EXPECT_THAT(entries.front().resource, HasSubstr("\"focus\":" + row.to)) << row.from;
  }
  const auto entries = EntriesOf(bundle(ours), Interaction::kSingle, kTheirs);
  EXPECT_EQ(entries.front().url, "Task?identifier=urn%3As%7Ca%20b");
}

TEST(Rewrite, WhatWeDidNotWriteIsNotSent) {
  const std::string good = GoldenBundles().front().body;
  EXPECT_FALSE(EntriesOf(good, Interaction::kBatch, kOurs).empty());
  std::string other_id = good;
  other_id.replace(other_id.find(R"("id":"dwell-)") + 12, 1, "x");
  std::string posted = good;
  posted.replace(posted.find(R"("method":"PUT")"), 14, R"("method":"POST")");
  for (const std::string& bad :
       {std::string(), good.substr(0, good.size() - 1), std::string("[]"), std::string("{}"),
        std::string(R"({"resourceType":"Bundle","entry":[1]})"), other_id, posted}) {
    EXPECT_TRUE(EntriesOf(bad, Interaction::kBatch, kOurs).empty()) << bad.substr(0, 60);
  }
}

}  // namespace
}  // namespace dwell::delivery
