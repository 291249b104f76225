// Whole lives, delivered in every style to practice endpoints that take nothing else, leave the
// same resources there; so does sending everything once more.
#include <gmock/gmock.h>

#include <map>
#include <set>

#include "daemon/delivery/load.h"
#include "tests/daemon/delivery/golden_bundles.h"
#include "tests/endpoint/desk.h"
#include "tests/mapping/fhir/world.h"

namespace dwell::delivery {
namespace {

using practice::Desk;
using schemas::Document;
using schemas::Value;

constexpr Instant kNow{std::chrono::hours(492'800)};
constexpr std::string_view kUriSystem = "urn:ietf:rfc:3986";

struct Bundle {
  std::string body;
  std::size_t entries = 0;
};
using Life = std::vector<Bundle>;

/// The bundles of a golden pair's events, first to last.
std::map<std::string, Life> Lives() {
  std::map<std::string, Life> lives;
  for (const GoldenBundle& golden : GoldenBundles()) {
    if (golden.release != FhirRelease::kR4) continue;  // what the practice endpoint speaks
    const auto folder = std::filesystem::path(DWELL_SOURCE_DIR) / "tests/golden" / golden.name;
    test::Life life(test::ContextOf());
    Life& bundles = lives[golden.name];
    for (const std::string& json : test::Lines(ReadWhole(folder / "in.ndjson"))) {
      const fhir::Made made = life.Receive(test::ReadOne(json));
      if (made.resources.empty()) continue;
      bundles.push_back({fhir::TransactionBundle(made.resources), made.resources.size()});
    }
  }
  return lives;
}

std::string_view Line(std::string_view fields, std::string_view name) {
  const std::size_t at = fields.find(name);
  if (at == std::string_view::npos) return {};
  const std::string_view rest = fields.substr(at + name.size());
  return rest.substr(0, rest.find("\r\n"));
}

net::Exchange Ask(Desk& desk, const Outgoing& outgoing) {
  practice::HttpRequest request;
  request.method = outgoing.method;
  request.target = outgoing.target;
  request.body = outgoing.body;
  request.content_type = Line(outgoing.fields, "Content-Type: ");
  request.if_none_exist = Line(outgoing.fields, "If-None-Exist: ");
  const practice::HttpResponse response = desk.Answer(request);
  net::Exchange exchange;
  exchange.written = net::Written::kAll;
  exchange.status = response.status;
  exchange.content_type = response.content_type;
  exchange.body = response.body;
  exchange.etag = Line(response.fields, "ETag: ");
  exchange.location = Line(response.fields, "Location: ");
  return exchange;
}

/// Sends until all is there, as delivery does; gives the number of requests.
std::size_t Deliver(Desk& desk, WriteStyle style, const Life& life, const std::string& name) {
  std::size_t requests = 0;
  for (const Bundle& bundle : life) {
    for (bool is_done = false; !is_done;) {
      Load load(style, Desk::kBase, {{bundle.body, {.entries = bundle.entries, .attempts = 0}}});
      for (; load.Next(); ++requests) load.Take(Ask(desk, *load.Next()), kNow);
      const Verdict& verdict = load.verdicts().front();
      is_done = verdict.course == Course::kDone;
      if (is_done) continue;
      const bool is_cut = verdict.apart && verdict.too_large && Shrink(style, load.entries());
      if (!is_cut) {
        ADD_FAILURE() << name << ": " << verdict.why << " " << verdict.outcome;
        return requests;
      }
    }
  }
  return requests;
}

std::string Text(std::optional<Value> object, std::string_view name) {
  const auto value = object && object->is_object() ? object->Find(name) : std::nullopt;
  return value && value->is_string() ? std::string(value->AsString()) : std::string();
}

/// What a desk holds, in words that do not depend on who chose the ids.
class Holdings {
 public:
  explicit Holdings(const Desk& desk) {
    std::vector<Document> documents;
    for (const std::string& json : test::Lines(desk.Dump(""))) {
      documents.push_back(std::move(*Document::Parse(json)));
    }
    for (const Document& document : documents) Name(document.root());
    for (const Document& document : documents) {
      const Value root = document.root();
      const std::string name = names_.at(Text(root, "resourceType") + "/" + Text(root, "id"));
      held_[name] = Canonical(root, true);
    }
    EXPECT_EQ(held_.size(), documents.size()) << "something is there twice";
  }

  const std::map<std::string, std::string>& held() const { return held_; }

 private:
  void Name(Value root) {
    const std::string type = Text(root, "resourceType"), id = Text(root, "id");
    std::string urn = id.starts_with("dwell-") ? "urn:uuid:" + id.substr(6) : std::string();
    const auto identifiers = root.Find("identifier");
    const auto meta = root.Find("meta");
    for (const auto& list : {identifiers, meta ? meta->Find("tag") : std::nullopt}) {
      if (!list) continue;
      for (const Value one : *list) {
        const std::string own = Text(one, "value") + Text(one, "code");
        if (Text(one, "system") == kUriSystem) urn = own;
      }
    }
    const std::string name = type + " " +
                             (identifiers ? Text(identifiers->first(), "system") + "|" +
                                                Text(identifiers->first(), "value")
                                          : urn);
    names_[type + "/" + id] = name;
    names_[urn] = name;
  }

  std::string Target(const std::string& target) const {
    const auto found = names_.find(target);
    return "-> " + (found == names_.end() ? target : found->second);
  }

  std::string Canonical(Value value, bool is_root) const {
    if (value.is_string()) return std::string(value.AsString());
    if (value.is_number()) return std::string(value.NumberText());
    if (!value.is_object() && !value.is_array())
      return value.is_bool() && value.AsBool() ? "t" : "f";
    if (value.is_object()) {
      const std::string reference = Text(value, "reference");
      const auto identifier = value.Find("identifier");
      if (!reference.empty()) return Target(reference);
      if (Text(identifier, "system") == kUriSystem) return Target(Text(identifier, "value"));
      if (Text(value, "system") == kUriSystem) return "";
    }
    std::string text;
    for (const Value child : value) {
      const std::string_view name = child.name();
      if (is_root && name == "id") continue;
      if (name == "versionId" || name == "lastUpdated") continue;
      const std::string inner = Canonical(child, false);
      if (!inner.empty()) text.append(name).append("=").append(inner).append("; ");
    }
    return text.empty() ? text : "{" + text + "}";
  }

  std::map<std::string, std::string> names_;  ///< "Type/id" and urn:uuid:... -> what it is
  std::map<std::string, std::string> held_;
};

/// An endpoint and the style that its statement leads to.
struct Place {
  const char* name;
  practice::Manners manners;
  Interaction interaction;
  Identity identity;
};

std::vector<Place> Places() {
  std::vector<Place> places;
  constexpr const char* kNames[] = {"transactions", "batches", "singles"};
  for (const bool own_ids : {false, true}) {
    for (const auto taking : {practice::Taking::kTransactions, practice::Taking::kBatches,
                              practice::Taking::kSingles}) {
      practice::Manners manners;
      manners.taking = taking;
      manners.own_ids = own_ids;
      manners.referential = manners.resolving = true;
      places.push_back({kNames[static_cast<int>(taking)], manners,
                        static_cast<Interaction>(static_cast<int>(taking)),
                        own_ids ? Identity::kConditionalUpdate : Identity::kUpdateAsCreate});
    }
  }
  return places;
}

WriteStyle StyleFor(Desk& desk) {
  practice::HttpRequest request;
  request.method = "GET";
  request.target = "/fhir/metadata";
  const auto capability = ReadCapability(desk.Answer(request).body);
  return ChooseStyle(&*capability, {}, FhirRelease::kR4, std::nullopt);
}

TEST(Styles, TheStatementLeadsToTheStyleThatWorks) {
  for (const Place& place : Places()) {
    Desk desk(practice::Keep::kCurrent);
    desk.SetManners(place.manners);
    const WriteStyle style = StyleFor(desk);
    EXPECT_EQ(style.interaction, place.interaction) << place.name;
    EXPECT_EQ(style.identity, place.identity) << place.name;
  }
}

TEST(Styles, EveryLifeLeavesTheSameResourcesInEveryStyle) {
  std::size_t resources = 0;
  for (const auto& [name, life] : Lives()) {
    Desk usual(practice::Keep::kCurrent);
    Deliver(usual, {}, life, name);
    const Holdings expected(usual);
    resources += expected.held().size();
    for (const Place& place : Places()) {
      Desk desk(practice::Keep::kCurrent);
      desk.SetManners(place.manners);
      Deliver(desk, StyleFor(desk), life, name + " " + place.name);
      EXPECT_EQ(Holdings(desk).held(), expected.held()) << name << " " << place.name;
    }
  }
  EXPECT_GT(resources, 800U);
}

TEST(Styles, SendingEverythingOnceMoreAddsNothing) {
  const auto lives = Lives();
  for (const char* const name : {"removal/phlebitis", "retraction/of-insertion-with-checks"}) {
    const Life& life = lives.at(name);
    for (const Place& place : Places()) {
      Desk desk(practice::Keep::kCurrent);
      desk.SetManners(place.manners);
      const WriteStyle style = StyleFor(desk);
      Deliver(desk, style, life, name);
      const auto once = Holdings(desk).held();
      const auto created = desk.counts().created;
      Deliver(desk, style, {life.back()}, name);  // as after a crash before it was settled
      EXPECT_EQ(Holdings(desk).held(), once) << place.name;
      EXPECT_EQ(desk.counts().created, created) << place.name;
    }
  }
}

TEST(Styles, LimitsAreLearnedFromRefusalsOfEitherKind) {
  const Life life = Lives().at("removal/phlebitis");
  for (const bool in_words : {false, true}) {
    Desk desk(practice::Keep::kCurrent);
    practice::Manners manners;
    manners.taking = practice::Taking::kBatches;
    manners.entries_max = 3;
    manners.limits_in_words = in_words;
    desk.SetManners(manners);
    EXPECT_GT(Deliver(desk, StyleFor(desk), life, "limited"), life.size());
    Desk usual(practice::Keep::kCurrent);
    Deliver(usual, {}, life, "usual");
    EXPECT_EQ(Holdings(desk).held(), Holdings(usual).held());
  }
}

TEST(Styles, ATransactionBeyondTheLimitIsHeldAndNeverCut) {
  const Life life = Lives().at("removal/phlebitis");
  Desk desk(practice::Keep::kCurrent);
  practice::Manners manners;
  manners.entries_max = 3;
  manners.limits_in_words = true;
  desk.SetManners(manners);
  const Bundle& bundle = life.back();
  ASSERT_GT(bundle.entries, 3U);
  Load load({}, Desk::kBase, {{bundle.body, {.entries = bundle.entries, .attempts = 0}}});
  load.Take(Ask(desk, *load.Next()), kNow);
  EXPECT_EQ(load.verdicts().front().course, Course::kHold);
  EXPECT_TRUE(load.verdicts().front().too_large);
  EXPECT_TRUE(Holdings(desk).held().empty());
}

TEST(Styles, AChildWaitsForItsParentInEveryStyleThatNamesIt) {
  const Life life = Lives().at("removal/phlebitis");
  ASSERT_GE(life.size(), 2U);
  const Bundle& child = life.back();
  for (const Place& place : Places()) {
    Desk desk(practice::Keep::kCurrent);
    desk.SetManners(place.manners);
    const WriteStyle style = StyleFor(desk);
    Load early(style, Desk::kBase, {{child.body, {.entries = child.entries, .attempts = 0}}});
    while (early.Next()) early.Take(Ask(desk, *early.Next()), kNow);
    const bool names_it = place.interaction == Interaction::kTransaction ||
                          place.identity == Identity::kUpdateAsCreate;
    EXPECT_EQ(early.verdicts().front().course, names_it ? Course::kWait : Course::kDone)
        << place.name << early.verdicts().front().why;
    Deliver(desk, style, life, place.name);
  }
}

}  // namespace
}  // namespace dwell::delivery
