#include "tests/sim/ward.h"

#include <array>
#include <chrono>

namespace dwell::sim {
namespace {

using std::chrono::minutes;

/// NHS numbers of the range for tests, 999 000 0000 to 999 999 9999, with their check digit:
/// weights 10 to 2, modulus 11 (NHS Data Dictionary, NHS number).
std::vector<std::string> TestPatients(std::size_t count) {
  std::vector<std::string> patients;
  for (int number = 999000101; patients.size() < count; ++number) {
    const std::string digits = std::to_string(number);
    int sum = 0;
    for (int i = 0; i < 9; ++i) sum += (digits[static_cast<std::size_t>(i)] - '0') * (10 - i);
    const int check = (11 - sum % 11) % 11;
    if (check != 10) patients.push_back(digits + std::to_string(check));
  }
  return patients;
}

std::string Quoted(const std::string& name, const std::string& text) {
  return ",\"" + name + "\":\"" + text + "\"";
}

}  // namespace

const std::vector<std::string>& Ward::patients() {
  static const std::vector<std::string> all = TestPatients(8);
  return all;
}

Ward::Line& Ward::ChooseLine() {
  if (lines_.empty() || (lines_.size() < lines_max_ && random_.Chance(30))) {
    Line& line = lines_.emplace_back();
    line.id = "line-" + std::to_string(lines_.size());
    line.ward = random_.OneOf({"alder", "birch", "cedar"});
    // The second has no rules in the policy.
    line.kind = random_.Chance(85) ? "peripheral-cannula" : "midline";
    line.patient = static_cast<std::size_t>(random_.Below(patients().size()));
    return line;
  }
  return lines_[static_cast<std::size_t>(random_.Below(lines_.size()))];
}

std::string Ward::NextKind(const Line& line) {
  const bool is_new = line.events.empty();
  if (is_new && random_.Chance(85)) return "insertion";
  if (!is_new && random_.Chance(12)) return "retraction";
  if (line.removed && random_.Chance(70)) return "site-check";
  return random_.OneOf({"insertion", "site-check", "site-check", "site-check", "flush", "flush",
                        "dressing-change", "removal"});
}

std::string Ward::Members(const Line& line, const std::string& kind) {
  if (kind == "insertion") {
    return R"(,"outcome":"placed","line":{"kind":")" + line.kind + R"(","gauge":20},)" +
           R"("site":{"place":"dorsum-of-hand","side":"left"},"setting":")" +
           random_.OneOf({"planned", "emergency"}) + "\"";
  }
  if (kind == "site-check") {
    return R"(,"grade":{"scale":"visual-infusion-phlebitis","version":"1998","value":)" +
           std::to_string(random_.Chance(80) ? 0 : random_.Below(5)) + R"(},"still_needed":"yes")";
  }
  if (kind == "flush") return R"(,"flush":{"fluid":"sodium-chloride-0.9","mL":10})";
  if (kind == "dressing-change") return {};
  if (kind == "removal") return R"(,"reason":"no-longer-required")";
  const auto of = static_cast<std::size_t>(random_.Below(line.events.size()));
  return Quoted("retracts", line.events[of]) + R"(,"reason":"not-done")";
}

std::string Ward::Write(const Line& line, const std::string& kind, const std::string& id,
                        Instant now) {
  // Mostly told within the hour; now and then days late.
  const auto ago = minutes(random_.Chance(85) ? random_.Between(0, 60) : random_.Between(60, 7200));
  const std::string happened = FormatInstant(now - ago);
  const std::string recorded = FormatInstant(now - minutes(random_.Between(0, ago.count())));
  std::string raw = R"({"kind":")" + kind + "\"" + Quoted("id", id) + Quoted("source", kSource) +
                    Quoted("happened_at", happened) + Quoted("recorded_at", recorded) +
                    R"(,"patient":{"system":"https://fhir.nhs.uk/Id/nhs-number","value":")" +
                    patients()[line.patient] + R"("},"place":{"ward":")" + line.ward +
                    R"(","bed":"bed )" + kSecret + R"("},"staff":[{"system":)" +
                    R"("https://staff.fernhill.example","value":"n-)" + kSecret +
                    R"(","role":"registered-nurse"}])" + Quoted("line_id", line.id) +
                    Members(line, kind);
  if (kind != "retraction" && line.events.size() > 1 && random_.Chance(8)) {
    const auto of = static_cast<std::size_t>(random_.Below(line.events.size()));
    raw += Quoted("replaces", line.events[of]);
  }
  return raw + Quoted("note", std::string("note ") + kSecret) + "}";
}

Told Ward::Tell(Instant now) {
  Line& line = ChooseLine();
  const std::string kind = NextKind(line);
  Told told;
  told.id = "e-" + std::to_string(++count_);
  told.line_id = line.id;
  told.raw = Write(line, kind, told.id, now);
  line.events.push_back(told.id);
  line.removed = line.removed || kind == "removal";
  told_.push_back(told);
  return told;
}

Told Ward::Repeat() { return told_[static_cast<std::size_t>(random_.Below(told_.size()))]; }

Told Ward::Contradict() {
  Told told = Repeat();
  told.raw.insert(told.raw.size() - 2, " and more");
  return told;
}

Told Ward::Nonsense(Instant now) {
  Line line;
  line.id = "line-nonsense";
  line.ward = "alder";
  line.kind = "peripheral-cannula";
  Told told;
  told.id = "n-" + std::to_string(++count_);
  told.line_id = line.id;
  told.raw = Write(line, "insertion", told.id, now);
  switch (random_.Below(5)) {
    case 0:  // half of it
      told.raw.resize(told.raw.size() / 2);
      break;
    case 1:  // a member nobody knows
      told.raw.insert(1, std::string("\"unknown\":\"") + kSecret + "\",");
      break;
    case 2:  // from the day after tomorrow
      told.raw = Write(line, "insertion", told.id, now + std::chrono::days(12));
      break;
    case 3: {  // a slip in the patient's number
      const auto at = told.raw.find(patients()[0]);
      if (at == std::string::npos) return told;
      told.raw[at + 9] = told.raw[at + 9] == '9' ? '0' : static_cast<char>(told.raw[at + 9] + 1);
      break;
    }
    default:
      told.raw = std::string("{\"kind\":\"flush\",\"note\":\"") + kSecret + "\"}";
  }
  return told;
}

}  // namespace dwell::sim
