#include <cctz/civil_time.h>
#include <cctz/time_zone.h>
#include <cctz/zone_info_source.h>

#include <algorithm>
#include <cstring>

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

/// FNV-1a, 64 bits (http://www.isthe.com/chongo/tech/comp/fnv/): tells contents apart, keeps no
/// secrets.
class Sum {
 public:
  void Add(std::string_view bytes) {
    for (const char byte : bytes) {
      value_ = (value_ ^ static_cast<unsigned char>(byte)) * 0x100000001b3ULL;
    }
  }
  void Add(std::int64_t number) { Add(std::to_string(number) + ";"); }
  std::uint64_t value() const { return value_; }

 private:
  std::uint64_t value_ = 0xcbf29ce484222325ULL;
};

/// A zone's file in memory.
class Bytes final : public cctz::ZoneInfoSource {
 public:
  explicit Bytes(std::string_view bytes) : left_(bytes) {}
  std::size_t Read(void* to, std::size_t size) override {
    const std::size_t count = std::min(size, left_.size());
    std::memcpy(to, left_.data(), count);
    left_.remove_prefix(count);
    return count;
  }
  int Skip(std::size_t count) override {
    left_.remove_prefix(std::min(count, left_.size()));
    return 0;
  }

 private:
  std::string_view left_;
};

/// The library loads by name, once for each name, from a factory that it calls on the same thread.
/// So what is to be read goes past it here, under a name that says which bytes they are.
thread_local const std::string* to_read = nullptr;

std::unique_ptr<cctz::ZoneInfoSource> SourceOf(
    const std::string& name,
    const std::function<std::unique_ptr<cctz::ZoneInfoSource>(const std::string&)>& system) {
  if (to_read == nullptr) return system(name);
  return std::make_unique<Bytes>(*to_read);
}

bool LoadBytes(const std::string& name, const std::string& bytes, cctz::time_zone* zone) {
  static const bool installed = [] {
    cctz_extension::zone_info_source_factory = SourceOf;
    return true;
  }();
  CHECK(installed);
  Sum sum;
  sum.Add(bytes);
  to_read = &bytes;
  const bool loaded = cctz::load_time_zone(name + "#" + std::to_string(sum.value()), zone);
  to_read = nullptr;
  return loaded;
}

Error Unknown(const std::string& name) {
  return {ErrorKind::kConfig,
          "unknown time zone '" + name + "': use a name of the tz database, e.g. Europe/London"};
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
    return Unknown(name);
  }
  return Zone(std::move(rules));
}

Result<Zone> Zone::Read(const std::string& name, const std::string& tzif) {
  auto rules = std::make_unique<Rules>();
  rules->name = name;
  if (name.empty() || !LoadBytes(name, tzif, &rules->zone)) return Unknown(name);
  return Zone(std::move(rules));
}

std::uint64_t Zone::Fingerprint() const {
  const auto from = cctz::convert(cctz::civil_second(2000, 1, 1), cctz::utc_time_zone());
  const auto until = cctz::convert(cctz::civil_second(2100, 1, 1), cctz::utc_time_zone());
  Sum sum;
  sum.Add(rules_->zone.lookup(from).offset);
  cctz::time_zone::civil_transition change;
  for (auto at = from; rules_->zone.next_transition(at, &change);) {
    const auto shown = rules_->zone.lookup(change.to);
    at = shown.kind == cctz::time_zone::civil_lookup::REPEATED ? shown.trans : shown.pre;
    if (at >= until) break;
    sum.Add(at.time_since_epoch().count());
    sum.Add(change.to - change.from);
  }
  return sum.value();
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
