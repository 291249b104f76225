// Each silence is told once when it begins and once when it ends.
#include "daemon/operate/silence.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace dwell::operate {
namespace {

using std::chrono::minutes;
using testing::ElementsAre;
using testing::IsEmpty;

const Instant kNine = ReadMoment("2026-03-02T09:00:00Z")->instant;

TEST(Silences, EachIsToldOnceWhenItBeginsAndOnceWhenItEnds) {
  Silences silences(std::nullopt);
  const store::SourceRecord ward{"ward", kNine, minutes(45)};
  const store::SourceRecord fresh{"fresh", kNine, std::nullopt};
  EXPECT_THAT(silences.Look({ward, fresh}, kNine + minutes(90)), IsEmpty());
  const auto begun = silences.Look({ward, fresh}, kNine + minutes(91));
  EXPECT_THAT(begun, ElementsAre(Silences::Change{true, kNine, minutes(91), minutes(90)}));
  EXPECT_THAT(silences.Look({ward, fresh}, kNine + minutes(500)), IsEmpty());
  EXPECT_EQ(silences.count(), 1U);
  const store::SourceRecord again{"ward", kNine + minutes(600), minutes(45)};
  EXPECT_THAT(silences.Look({again, fresh}, kNine + minutes(601)),
              ElementsAre(Silences::Change{false, kNine, minutes(600), minutes(90)}));
  EXPECT_THAT(silences.Look({again, fresh}, kNine + minutes(602)), IsEmpty());
  EXPECT_EQ(silences.count(), 0U);
}

TEST(Silences, OneThatWasThereBeforeTheStartIsToldAtTheFirstLook) {
  Silences silences(minutes(30));
  const auto told =
      silences.Look({{"a", kNine, {}}, {"b", kNine + minutes(60), {}}}, kNine + minutes(75));
  EXPECT_THAT(told, ElementsAre(Silences::Change{true, kNine, minutes(75), minutes(30)}));
}

}  // namespace
}  // namespace dwell::operate
