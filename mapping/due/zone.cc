#include <cctz/civil_time.h>
#include <cctz/time_zone.h>

#include "mapping/due/policy.h"
#include "schemas/base/check.h"

namespace dwell::due {
namespace {

using std::chrono::seconds;

std::string Offset(int offset_s) {
  const int minutes = (offset_s < 0 ? -offset_s : offset_s) / 60;
  std::string text = offset_s < 0 ? "-00:00" : "+00:00";
  text[1] = static_cast<char>('0' + minutes / 600);
  text[2] = static_cast<char>('0' + minutes / 60 % 10);
  text[4] = static_cast<char>('0' + minutes % 60 / 10);
  text[5] = static_cast<char>('0' + minutes % 10);
  return text;
}

}  // namespace

struct Zone::Rules {
  std::string name;
  cctz::time_zone zone;

  cctz::time_zone::absolute_lookup Lookup(Instant instant) const {
    return zone.lookup(std::chrono::floor<seconds>(instant));
  }
};

Zone::Zone(std::unique_ptr<const Rules> rules) : rules_(std::move(rules)) {}
Zone::Zone(Zone&&) noexcept = default;
Zone& Zone::operator=(Zone&&) noexcept = default;
Zone::~Zone() = default;

Result<Zone> Zone::Load(const std::string& name) {
  auto rules = std::make_unique<Rules>();
  rules->name = name;
  // "localtime" would mean whatever this machine is set to.
  if (name.empty() || name == "localtime" || !cctz::load_time_zone(name, &rules->zone)) {
    return Error(ErrorKind::kConfig, "unknown time zone '" + name +
                                         "': use a name of the tz database, e.g. Europe/London");
  }
  return Zone(std::move(rules));
}

const std::string& Zone::name() const { return rules_->name; }

Instant Zone::NextRound(Instant after, const std::vector<std::chrono::minutes>& rounds) const {
  CHECK(!rounds.empty());
  const cctz::civil_second shown = rules_->Lookup(after).cs;
  for (cctz::civil_day day(shown);; ++day) {
    for (const std::chrono::minutes round : rounds) {
      const cctz::civil_second wall = cctz::civil_second(day) + round.count() * 60;
      // What the clock shows now or showed earlier today came first before, or fell into a gap
      // before.
      if (wall <= shown) continue;
      const auto found = rules_->zone.lookup(wall);
      const bool gap = found.kind == cctz::time_zone::civil_lookup::SKIPPED;
      const Instant instant = gap ? found.trans : found.pre;
      if (instant > after) return instant;
    }
  }
}

std::string Zone::Format(Instant instant) const {
  const int offset_s = rules_->Lookup(instant).offset;
  std::string text = FormatInstant(instant + seconds(offset_s));
  text.pop_back();  // the "Z"
  return text + Offset(offset_s);
}

}  // namespace dwell::due
