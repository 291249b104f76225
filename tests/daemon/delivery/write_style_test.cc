// Statements and pins -> styles. The member names are those of FHIR R4 capabilitystatement.html.
#include "daemon/delivery/write_style.h"

#include <gmock/gmock.h>

#include "daemon/delivery/configured.h"
#include "mapping/fhir/plan.h"

namespace dwell::delivery {
namespace {

using testing::HasSubstr;

constexpr auto kR4 = FhirRelease::kR4;

/// A server with those system interactions, each of our types so.
Capability Server(std::vector<std::string> interactions, std::optional<bool> update_create,
                  std::optional<bool> conditions) {
  Capability capability;
  capability.is_server = true;
  capability.interactions = std::move(interactions);
  for (const std::string_view name : fhir::TypesWritten(kR4)) {
    TypeCapability type;
    type.type = name;
    type.update_create = update_create;
    type.conditional_update = conditions;
    type.conditional_create = conditions;
    capability.types.push_back(std::move(type));
  }
  return capability;
}

TEST(WriteStyle, WithoutAStatementTheUsualWayIsTaken) {
  Capability client;  // describes no server
  client.interactions = {"batch"};
  const std::vector<const Capability*> without = {nullptr, &client};
  for (const Capability* const capability : without) {
    const WriteStyle style = ChooseStyle(capability, {}, kR4, std::nullopt);
    EXPECT_EQ(style.interaction, Interaction::kTransaction);
    EXPECT_EQ(style.identity, Identity::kUpdateAsCreate);
    EXPECT_EQ(style.share_max, 1U);
    EXPECT_THAT(style.why, HasSubstr("no statement that could be read"));
  }
}

TEST(WriteStyle, TheStatementChoosesTheInteraction) {
  struct Row {
    std::vector<std::string> interactions;
    Interaction interaction;
    const char* why;
  };
  const std::vector<Row> rows = {
      {{"transaction", "batch"}, Interaction::kTransaction, "lists transactions"},
      {{"transaction"}, Interaction::kTransaction, "lists transactions"},
      {{}, Interaction::kTransaction, "does not say whether"},
      {{"batch", "search-system"}, Interaction::kBatch, "lists batches, not transactions"},
      {{"search-system"}, Interaction::kSingle, "neither transactions nor batches"},
  };
  for (const Row& row : rows) {
    const Capability capability = Server(row.interactions, true, true);
    const WriteStyle style = ChooseStyle(&capability, {}, kR4, std::nullopt);
    EXPECT_EQ(style.interaction, row.interaction) << row.why;
    EXPECT_EQ(style.identity, Identity::kUpdateAsCreate) << row.why;
    EXPECT_THAT(style.why, HasSubstr(row.why));
  }
}

TEST(WriteStyle, OnlyAPlainNoToOurIdsWithAWayOutChangesTheIdentity) {
  struct Row {
    std::optional<bool> update_create, conditions;
    Identity identity;
  };
  const std::vector<Row> rows = {
      {true, true, Identity::kUpdateAsCreate},
      {std::nullopt, true, Identity::kUpdateAsCreate},
      {false, true, Identity::kConditionalUpdate},
      {false, false, Identity::kUpdateAsCreate},
      {false, std::nullopt, Identity::kUpdateAsCreate},
  };
  for (const Row& row : rows) {
    const Capability capability = Server({"transaction"}, row.update_create, row.conditions);
    EXPECT_EQ(ChooseStyle(&capability, {}, kR4, std::nullopt).identity, row.identity);
  }
  Capability one_type = Server({"transaction"}, true, true);
  one_type.types.front().update_create = false;
  EXPECT_EQ(ChooseStyle(&one_type, {}, kR4, std::nullopt).identity, Identity::kConditionalUpdate)
      << "references need one way for all types";
  one_type.types.back().conditional_create = false;  // Provenance
  one_type.types.back().conditional_update = false;
  EXPECT_EQ(ChooseStyle(&one_type, {}, kR4, std::nullopt).identity, Identity::kUpdateAsCreate);
  one_type.types.pop_back();
  EXPECT_EQ(ChooseStyle(&one_type, {}, kR4, std::nullopt).identity, Identity::kConditionalUpdate)
      << "what is not listed says nothing";
}

TEST(WriteStyle, PinsWinAndAnIdentityInUseStays) {
  const Capability capability = Server({"batch"}, false, true);
  Pins pins;
  pins.interaction = Interaction::kSingle;
  pins.share_max = 7;
  WriteStyle style = ChooseStyle(&capability, pins, kR4, Identity::kUpdateAsCreate);
  EXPECT_EQ(style.interaction, Interaction::kSingle);
  EXPECT_EQ(style.identity, Identity::kUpdateAsCreate) << "never every line a second time";
  EXPECT_EQ(style.share_max, 7U);
  EXPECT_EQ(style.why,
            "single: endpoint.writes says so; update-as-create: the endpoint already holds "
            "resources written so, and its statement is against it: see dwell check --endpoint");
  EXPECT_TRUE(style.is_doubted);
  const Capability ours = Server({"batch"}, true, std::nullopt);
  style = ChooseStyle(&ours, pins, kR4, Identity::kConditionalUpdate);
  EXPECT_EQ(style.identity, Identity::kConditionalUpdate);
  EXPECT_FALSE(style.is_doubted) << "what is not said is not against it";
  EXPECT_FALSE(ChooseStyle(&ours, pins, kR4, Identity::kUpdateAsCreate).is_doubted);
  pins.identity = Identity::kConditionalUpdate;
  style = ChooseStyle(&capability, pins, kR4, Identity::kUpdateAsCreate);
  EXPECT_EQ(style.identity, Identity::kConditionalUpdate);
}

TEST(WriteStyle, ThePinsAreThoseOfTheConfiguration) {
  config::Config config;
  Pins pins = PinsOf(config.endpoint);
  EXPECT_FALSE(pins.interaction || pins.identity);
  EXPECT_EQ(pins.share_max, 1U);
  config.endpoint.share_max = 20;
  for (const auto interaction :
       {Interaction::kTransaction, Interaction::kBatch, Interaction::kSingle}) {
    for (const auto identity : {Identity::kUpdateAsCreate, Identity::kConditionalUpdate}) {
      config.endpoint.writes = InteractionName(interaction);
      config.endpoint.identity = IdentityName(identity);
      pins = PinsOf(config.endpoint);
      EXPECT_EQ(pins.interaction, interaction);
      EXPECT_EQ(pins.identity, identity);
      EXPECT_EQ(pins.share_max, 20U);
    }
  }
}

TEST(WriteStyle, AsManyShareARequestAsMay) {
  WriteStyle style;
  const std::vector<Size> eights(20, Size{8, 16'000});
  EXPECT_EQ(Fitting(style, {}), 0U);
  EXPECT_EQ(Fitting(style, eights), 1U) << "each alone unless configured";
  style.share_max = 10;
  EXPECT_EQ(Fitting(style, eights), 10U);
  style.entries_max = 30;
  EXPECT_EQ(Fitting(style, eights), 3U);
  style.bytes_max = 40'000;
  EXPECT_EQ(Fitting(style, eights), 2U);
  style.entries_max = 1;
  EXPECT_EQ(Fitting(style, eights), 1U) << "what belongs together goes, however large";
  style = {};
  style.share_max = 10;
  style.interaction = Interaction::kSingle;
  EXPECT_EQ(Fitting(style, eights), 1U);
}

TEST(WriteStyle, ATooLargeRequestIsHalvedUntilOneEntryIsLeft) {
  WriteStyle style;
  EXPECT_TRUE(Shrink(style, 80));
  EXPECT_EQ(style.entries_max, 40U);
  EXPECT_FALSE(Shrink(style, 100)) << "that request was made before we knew";
  EXPECT_EQ(style.entries_max, 40U);
  std::size_t steps = 0;
  while (Shrink(style, style.entries_max)) ++steps;
  EXPECT_EQ(style.entries_max, 1U);
  EXPECT_EQ(steps, 5U);
  EXPECT_FALSE(Shrink(style, 1));
}

}  // namespace
}  // namespace dwell::delivery
