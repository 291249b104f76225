#include "tests/conformance/many/filler.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <cstdlib>

#include "schemas/base/check.h"

namespace dwell::many {
namespace {

std::int64_t Whole(std::string_view text, std::int64_t otherwise) {
  std::int64_t number = otherwise;
  std::from_chars(text.data(), text.data() + text.size(), number);
  return number;
}

/// Whether the number is within the bounds of the schema. Choosing only, nothing is passed on.
bool Allowed(const Node& node, const std::string& text) {
  const double number = std::strtod(text.c_str(), nullptr);
  const auto low = static_cast<double>(Whole(node.Text("minimum"), -1'000'000));
  const auto high = static_cast<double>(Whole(node.Text("maximum"), 1'000'000));
  const bool open = node.Find("exclusiveMinimum").has_value();
  return (open ? number > low : number >= low) && number <= high;
}

}  // namespace

std::string Quoted(std::string_view text) {
  schemas::JsonWriter json;
  json.String(text);
  return json.Take();
}

std::string Filler::Fill(std::string_view kind, const Decided& decided, Instant happened,
                         int presence_percent) {
  decided_ = &decided;
  happened_ = happened;
  presence_percent_ = presence_percent;
  Object(contract_.Root(kind), "");
  return json_.Take();
}

void Filler::Object(const Node& node, const std::string& path) {
  json_.BeginObject();
  if (const auto properties = node.Find("properties")) {
    for (const schemas::Value property : *properties) {
      const std::string at = path + std::string(property.name());
      const auto decided = decided_->find(at);
      const bool some = decided != decided_->end() && decided->second == kSome;
      if (decided != decided_->end() && !some) {
        if (!decided->second.empty()) json_.MemberRaw(property.name(), decided->second);
        continue;
      }
      const auto inside = decided_->lower_bound(at + "/");
      const bool asked = inside != decided_->end() && inside->first.starts_with(at + "/");
      if (!some && !asked && !node.Requires(property.name()) && !dice_.Chance(presence_percent_))
        continue;
      json_.Name(property.name());
      Value(contract_.Member(node, property), property.name(), at);
    }
  }
  json_.EndObject();
}

void Filler::Value(const Node& node, std::string_view member, const std::string& path) {
  if (node.definition == "extra") return json_.Raw(dice_.Pick(Extras()));
  if (node.definition == "grade") return Grade(node);
  if (node.Is("object")) return Object(node, path + "/");
  if (node.Is("array")) return Array(node, member, path);
  Scalar(node, member);
}

void Filler::Array(const Node& node, std::string_view member, const std::string& path) {
  const Node items = contract_.Items(node);
  const std::int64_t low = Whole(node.Text("minItems"), 0);
  const std::size_t count = static_cast<std::size_t>(dice_.Between(low, low + 3));
  std::vector<std::string> codes;  // the only lists without repetition are lists of codes
  json_.BeginArray();
  for (std::size_t i = 0; i < count; ++i) {
    if (items.definition == "code") {
      const std::string code = Code(member);
      if (std::ranges::find(codes, code) != codes.end()) continue;
      codes.push_back(code);
      json_.String(code);
    } else {
      Value(items, member, path + "[]");
    }
  }
  json_.EndArray();
}

/// The highest grade hangs on the scale.
void Filler::Grade(const Node& node) {
  const auto properties = *node.Find("properties");
  const Node scales = contract_.Member(node, *properties.Find("scale"));
  const std::size_t which = dice_.Below(scales.Find("enum")->size());
  auto scale = scales.Find("enum")->begin();
  for (std::size_t i = 0; i < which; ++i) ++scale;
  const bool short_scale = (*scale).AsString() == "ins-phlebitis";
  json_.BeginObject();
  json_.Member("scale", (*scale).AsString());
  if (dice_.Chance(presence_percent_)) json_.Member("version", short_scale ? "2011" : "v. <1998>");
  json_.MemberInteger("value", dice_.Between(0, short_scale ? 4 : 5));
  json_.EndObject();
}

void Filler::Scalar(const Node& node, std::string_view member) {
  if (const auto values = node.Find("enum")) {
    auto value = values->begin();
    for (std::size_t i = dice_.Below(values->size()); i > 0; --i) ++value;
    return json_.String((*value).AsString());
  }
  if (node.Is("integer")) return json_.Raw(Integer(node));
  if (node.Is("number")) return json_.Raw(Number(node));
  if (node.definition == "code") return json_.String(Code(member));
  if (node.definition == "expiry") return json_.String(Expiry());
  if (node.definition == "lot") return json_.String(dice_.Pick(Lots()));
  if (node.definition == "note") return json_.String(dice_.Pick(Notes()));
  if (node.definition == "moment") {
    return json_.String(FormatInstant(happened_ - std::chrono::minutes(dice_.Between(0, 40))));
  }
  CHECK(false);  // the contract has a kind of value that nobody here knows
}

std::string Filler::Code(std::string_view member) {
  const auto group = words_.find(GroupOfMember(member));
  CHECK(group != words_.end());
  return dice_.Chance(6) ? dice_.Pick(UnknownCodes()) : dice_.Pick(group->second).code;
}

std::string Filler::Number(const Node& node) {
  std::vector<std::string> legal;
  std::ranges::copy_if(Decimals(), std::back_inserter(legal),
                       [&](const std::string& text) { return Allowed(node, text); });
  CHECK(!legal.empty());
  return dice_.Pick(legal);
}

std::string Filler::Integer(const Node& node) {
  return std::to_string(
      dice_.Between(Whole(node.Text("minimum"), 0), Whole(node.Text("maximum"), 100)));
}

std::string Filler::Expiry() {
  constexpr std::array<const char*, 4> kExpiries = {"2027-03", "2028-02-29", "2030-12-31",
                                                    "2026-11"};
  return dice_.Pick(kExpiries);
}

}  // namespace dwell::many
