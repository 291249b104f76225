#include "tests/conformance/many/life.h"

#include <algorithm>
#include <array>
#include <numeric>
#include <set>

#include "mapping/due/policy.h"
#include "schemas/base/check.h"
#include "tests/conformance/many/scan.h"

namespace dwell::many {
namespace {

using std::chrono::hours;
using std::chrono::minutes;

constexpr std::array<const char*, 4> kZones = {"Europe/London", "America/St_Johns",
                                               "Asia/Kathmandu", "Pacific/Chatham"};
constexpr std::array<const char*, 4> kWards = {"7B", "Night & Day <ICU>", "Kinder-Station \xC3\x84",
                                               "9"};
constexpr std::array<const char*, 4> kOutcomes = {"placed", "failed", "declined", "not-attempted"};

/// What happens to a line between its beginning and its end.
enum class Shape : std::uint8_t {
  kWhole,       ///< put in, looked after, taken out
  kStays,       ///< never taken out
  kNotPlaced,   ///< only tries
  kUnknown,     ///< nobody told the insertion
  kLate,        ///< the insertion comes last
  kTriesFirst,  ///< tries, then placed
};
constexpr std::size_t kShapes = 6;

struct Planned {
  std::string kind, id, replaces, retracts;
  Instant happened{};
  Instant recorded{};
  Instant arrives{};
  Decided decided;
};

/// Plans the events of a line, then writes them.
class Maker {
 public:
  Maker(std::size_t number, const Contract& contract, const Vocabulary& words, Dice* dice)
      : number_(number), words_(words), dice_(*dice), filler_(contract, words, dice) {}

  Life Make() {
    life_.zone = dice_.Pick(kZones);
    life_.policy = dice_.Below(3);
    life_.licensed = dice_.Chance(35);
    life_.test_data = dice_.Chance(20);
    life_.conditional = dice_.Chance(30);
    life_.profiles = dice_.Chance(50);
    life_.watched = dice_.Chance(60);
    life_.ticks_after = dice_.Below(7);
    auto zone = due::Zone::Load(life_.zone);
    CHECK(zone.has_value());
    zone_ = &*zone;
    Patient();
    // Around the ends of summer time in each zone, and a leap day.
    constexpr std::array<const char*, 5> kStarts = {"2026-03-26T06:00:00Z", "2026-10-22T21:00:00Z",
                                                    "2026-04-02T03:00:00Z", "2028-02-27T09:00:00Z",
                                                    "2026-07-01T12:30:00Z"};
    now_ = ReadMoment(dice_.Pick(kStarts))->instant + minutes(dice_.Between(0, 4000));
    Plan(static_cast<Shape>(number_ % kShapes));
    Correct();
    Order();
    for (const Planned& one : planned_) life_.sent.push_back({Write(one), one.arrives});
    return std::move(life_);
  }

 private:
  void Patient() {
    const bool nhs = dice_.Chance(80);
    std::string value =
        nhs ? TestNhsNumber(&dice_) : "P/" + std::to_string(number_) + " <\xC3\xA9>";
    if (nhs && dice_.Chance(20)) value.insert(6, " ").insert(3, " ");
    patient_ =
        R"({"system":)" +
        Quoted(nhs ? "https://fhir.nhs.uk/Id/nhs-number" : "https://stmerrow.example/patients") +
        R"(,"value":)" + Quoted(value);
    if (dice_.Chance(30)) {
      patient_ += R"(,"second":{"system":"https://stmerrow.example/visits","value":"V-)" +
                  std::to_string(number_) + "\"}";
    }
    patient_ += "}";
  }

  Planned& Add(std::string kind, Instant happened) {
    Planned one;
    one.kind = std::move(kind);
    one.id = "e" + std::to_string(number_) + "-" + std::to_string(planned_.size()) +
             (dice_.Chance(10) ? "/%7E+" : "");
    one.happened = happened;
    // Clocks of ward devices differ by minutes.
    one.recorded = happened + minutes(dice_.Chance(8) ? -4 : dice_.Between(0, 30));
    return planned_.emplace_back(std::move(one));
  }

  void Insert(const char* outcome) {
    Planned& one = Add("insertion", now_);
    one.decided["outcome"] = Quoted(outcome);
  }

  void Plan(Shape shape) {
    const bool tries = shape == Shape::kTriesFirst || shape == Shape::kNotPlaced;
    for (std::size_t i = tries ? dice_.Below(3) + 1 : 0; i > 0; --i) {
      Insert(kOutcomes[1 + dice_.Below(3)]);
      Step();
    }
    if (shape == Shape::kNotPlaced) return;
    if (shape != Shape::kUnknown) Insert(kOutcomes[0]);
    const std::size_t begin = planned_.size();
    for (std::size_t i = dice_.Below(8) + 1; i > 0; --i) {
      Step();
      constexpr std::array<const char*, 6> kVisits = {
          "site-check", "site-check", "site-check", "flush", "flush", "dressing-change"};
      Add(dice_.Pick(kVisits), now_);
    }
    if (shape == Shape::kLate && begin > 0) {
      planned_[begin - 1].recorded = now_ + hours(dice_.Between(1, 12));
    }
    if (shape == Shape::kStays || (shape == Shape::kUnknown && dice_.Chance(40))) return;
    Step();
    Add("removal", now_);
    for (std::size_t i = dice_.Below(3); i > 0; --i) {
      now_ += hours(dice_.Between(2, 30));
      Add("site-check", now_);
    }
  }

  void Step() {
    now_ +=
        dice_.Chance(15) ? minutes(hours(dice_.Between(20, 200))) : minutes(dice_.Between(15, 600));
  }

  /// Corrections, chains of them, and retractions; of what is planned so far.
  void Correct() {
    const std::size_t count = planned_.size();
    for (std::size_t i = 0; i < count; ++i) {
      std::size_t newest = i;
      for (int chance = 14; dice_.Chance(chance); chance = 40) newest = Replace(newest);
      if (dice_.Chance(9)) Retract(dice_.Chance(50) ? i : newest);
    }
  }

  std::size_t Replace(std::size_t target) {
    const Planned old = planned_[target];
    Planned& one =
        Add(old.kind, old.happened + minutes(dice_.Chance(30) ? dice_.Between(-5, 5) : 0));
    one.replaces = old.id;
    one.retracts = old.retracts;
    one.recorded = old.recorded + minutes(dice_.Between(5, 2000));
    one.decided = old.decided;
    if (old.kind == "insertion" && dice_.Chance(25))
      one.decided["outcome"] = Quoted(dice_.Pick(kOutcomes));
    return planned_.size() - 1;
  }

  void Retract(std::size_t target) {
    const std::string id = planned_[target].id;
    const Instant when = planned_[target].recorded + minutes(dice_.Between(10, 3000));
    Planned& one = Add("retraction", when);
    one.retracts = id;
    if (dice_.Chance(20)) Replace(planned_.size() - 1);
  }

  /// When each comes in: most at once, some late, a few before what they follow.
  void Order() {
    for (Planned& one : planned_) {
      const bool late = dice_.Chance(12);
      one.arrives = one.recorded + minutes(late ? dice_.Between(60, 3000) : dice_.Between(0, 3));
    }
    std::ranges::stable_sort(planned_, {}, &Planned::arrives);
  }

  /// The instant as a ward device writes it.
  std::string Time(Instant instant) {
    switch (dice_.Below(10)) {
      case 0:
        return FormatInstant(instant);
      case 1:
        return FormatInstant(instant + std::chrono::milliseconds(dice_.Between(1, 999)));
      case 2: {
        std::string text = FormatInstant(instant + hours(5) + minutes(45));
        return text.replace(text.size() - 1, 1, "+05:45");
      }
      default:
        return zone_->Format(instant);
    }
  }

  void Common(const Planned& one, Decided* decided) {
    decided->insert_or_assign("kind", Quoted(one.kind));
    decided->insert_or_assign("id", Quoted(one.id));
    decided->insert_or_assign("source", Quoted("ward/system-" + std::to_string(number_ % 3)));
    decided->insert_or_assign("line_id", Quoted("L-" + std::to_string(number_)));
    decided->insert_or_assign("patient", patient_);
    decided->insert_or_assign("replaces", one.replaces.empty() ? "" : Quoted(one.replaces));
    if (!one.retracts.empty()) decided->insert_or_assign("retracts", Quoted(one.retracts));
    decided->insert_or_assign("happened_at", "");
    decided->insert_or_assign("happened_from", "");
    decided->insert_or_assign("happened_until", "");
    if (dice_.Chance(70)) {
      decided->insert_or_assign("happened_at", Quoted(Time(one.happened)));
    } else {
      decided->insert_or_assign("happened_from", Quoted(Time(one.happened)));
      if (dice_.Chance(80)) {
        decided->insert_or_assign("happened_until",
                                  Quoted(Time(one.happened + minutes(dice_.Between(1, 20)))));
      }
    }
    decided->insert_or_assign("recorded_at", Quoted(Time(one.recorded)));
    decided->insert_or_assign("place", Place());
    decided->insert_or_assign("staff", Staff());
    if (dice_.Chance(50)) {
      decided->insert_or_assign("encounter",
                                R"({"system":"https://stmerrow.example/stays","value":"S )" +
                                    std::to_string(number_) + "\"}");
    } else {
      decided->insert_or_assign("encounter", "");
    }
  }

  std::string Place() {
    const bool moved = dice_.Chance(15);
    std::string place = R"({"ward":)" + Quoted(moved ? dice_.Pick(kWards) : kWards[number_ % 4]);
    if (dice_.Chance(60)) place += R"(,"bay":"bay 2")";
    if (dice_.Chance(60)) place += R"(,"bed":"B & 5")";
    return place + "}";
  }

  std::string Staff() {
    std::string staff = "[";
    for (std::size_t i = dice_.Below(3) + 1; i > 0; --i) {
      staff += R"({"system":"https://stmerrow.example/staff","value":"N-)" +
               std::to_string(1000 + dice_.Below(40)) + "\"";
      if (dice_.Chance(70)) {
        const auto& roles = words_.find("role")->second;
        staff += R"(,"role":)" +
                 Quoted(dice_.Chance(6) ? dice_.Pick(UnknownCodes()) : dice_.Pick(roles).code);
      }
      staff += i > 1 ? "}," : "}";
    }
    return staff + "]";
  }

  /// What belongs together in the description of a line: its scan, lot and expiry.
  void Line(Decided* decided) {
    if (dice_.Chance(30)) {
      decided->emplace("line/udi", "");
      return;
    }
    const Scan scan = MakeScan(&dice_);
    decided->insert_or_assign("line/udi", Quoted(scan.text));
    if (!scan.lot.empty()) {
      decided->insert_or_assign("line/lot", dice_.Chance(50) ? Quoted(scan.lot) : "");
    }
    if (!scan.expiry.empty()) {
      const std::string told = dice_.Chance(50) ? scan.expiry : scan.expiry.substr(0, 7);
      decided->insert_or_assign("line/expiry", dice_.Chance(50) ? Quoted(told) : "");
    }
  }

  std::string Write(const Planned& one) {
    Decided decided = one.decided;
    Common(one, &decided);
    if (one.kind == "insertion") {
      const bool placed = decided["outcome"] == "\"placed\"";
      if (placed) {
        decided.emplace("line/kind", Kind());
        decided.emplace("site/place", Quoted(dice_.Pick(words_.find("site")->second).code));
        Line(&decided);
      } else {
        if (dice_.Chance(50)) {
          Line(&decided);
        } else {
          decided.emplace("line", "");
        }
        // The contract asks why.
        decided.emplace("reason", Quoted(dice_.Pick(words_.find("reason")->second).code));
      }
    }
    if (one.kind ==
        "site-check") {  // a check says what was seen: the contract asks for one of these
      constexpr std::array<const char*, 3> kSeen = {"signs", "grade", "infiltration_grade"};
      decided.emplace(dice_.Pick(kSeen), kSome);
    }
    constexpr std::array kPresence = {10, 50, 80, 100};
    return filler_.Fill(one.kind, decided, one.happened, dice_.Pick(kPresence));
  }

  std::string Kind() {
    if (dice_.Chance(50)) return Quoted("peripheral-cannula");  // what most policies are about
    const auto& kinds = words_.find("line-kind")->second;
    return Quoted(dice_.Chance(6) ? dice_.Pick(UnknownCodes()) : dice_.Pick(kinds).code);
  }

  std::size_t number_;
  const Vocabulary& words_;
  Dice& dice_;
  Filler filler_;
  Life life_;
  const due::Zone* zone_ = nullptr;
  std::string patient_;
  Instant now_{};
  std::vector<Planned> planned_;
};

}  // namespace

std::string TestNhsNumber(Dice* dice) {
  while (true) {
    std::string digits = "999";
    while (digits.size() < 9) digits += static_cast<char>('0' + dice->Below(10));
    int sum = 0;
    for (std::size_t i = 0; i < 9; ++i) sum += (10 - static_cast<int>(i)) * (digits[i] - '0');
    const int check = (11 - sum % 11) % 11;
    if (check != 10) return digits + static_cast<char>('0' + check);
  }
}

Life MakeLife(std::size_t number, const Contract& contract, const Vocabulary& words, Dice* dice) {
  return Maker(number, contract, words, dice).Make();
}

}  // namespace dwell::many
