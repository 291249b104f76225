#include "daemon/search/task_query.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <utility>

#include "daemon/intake/percent.h"
#include "daemon/search/task_parameters.h"

namespace dwell::search {
namespace {

using schemas::Value;

/// By "|" at most once, not escaped by "\".
std::optional<Token> ReadToken(std::string_view text) {
  Token token;
  std::string part;
  bool has_bar = false;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] == '\\' && i + 1 < text.size()) {
      part += text[++i];
    } else if (text[i] == '|') {
      if (has_bar) return std::nullopt;
      has_bar = true;
      token.system = std::exchange(part, std::string());
    } else {
      part += text[i];
    }
  }
  token.code = std::move(part);
  const bool says_something = !token.code.empty() || (token.system && !token.system->empty());
  return says_something ? std::optional(std::move(token)) : std::nullopt;
}

std::optional<Bound> ReadBound(std::string_view text) {
  struct Prefix {
    std::string_view text;
    Bound::Prefix prefix;
  };
  constexpr std::array<Prefix, 5> kPrefixes{{{"eq", Bound::Prefix::kEqual},
                                             {"lt", Bound::Prefix::kBefore},
                                             {"le", Bound::Prefix::kUntil},
                                             {"gt", Bound::Prefix::kAfter},
                                             {"ge", Bound::Prefix::kFrom}}};
  Bound bound;
  for (const Prefix& row : kPrefixes) {
    if (!text.starts_with(row.text)) continue;
    bound.prefix = row.prefix;
    text.remove_prefix(row.text.size());
    break;
  }
  const auto moment = ReadMoment(text);
  if (!moment) return std::nullopt;
  bound.at = moment->instant;
  return bound;
}

/// At commas that are not escaped by "\" (R4 search.html#escaping).
std::vector<std::string_view> SplitAtCommas(std::string_view text) {
  std::vector<std::string_view> parts;
  std::size_t begin = 0;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] == '\\') {
      ++i;
    } else if (text[i] == ',') {
      parts.push_back(text.substr(begin, i - begin));
      begin = i + 1;
    }
  }
  parts.push_back(text.substr(begin));
  return parts;
}

template <class Number>
bool ReadNumber(std::string_view text, Number& number) {
  const auto read = std::from_chars(text.data(), text.data() + text.size(), number);
  return read.ec == std::errc() && read.ptr == text.data() + text.size();
}

/// "12.3": line 12, three told. As QueryOfPage() writes it.
bool ReadPlace(std::string_view text, Place& place) {
  const std::size_t dot = text.find('.');
  if (dot == std::string_view::npos) return false;
  return ReadNumber(text.substr(0, dot), place.line_seq) && place.line_seq >= 0 &&
         ReadNumber(text.substr(dot + 1), place.told);
}

class Reader {
 public:
  Result<TaskQuery, BadQuery> Run(std::string_view query) && {
    while (!query.empty()) {
      const std::string_view pair = query.substr(0, query.find('&'));
      query.remove_prefix(std::min(query.size(), pair.size() + 1));
      if (pair.empty()) continue;
      const std::size_t equals = std::min(pair.find('='), pair.size());
      const auto name = intake::PercentDecode(pair.substr(0, equals));
      auto value = intake::PercentDecode(pair.substr(std::min(equals + 1, pair.size())));
      if (!name || !value) return BadQuery{std::string(pair), "percent-encoded as RFC 3986 has it"};
      if (auto bad = Take(*name, *value)) return *bad;
      if (*name == "_from") continue;
      if (!read_.asked.empty()) read_.asked += '&';
      read_.asked += pair;
    }
    return std::move(read_);
  }

 private:
  std::optional<BadQuery> Take(const std::string& name, const std::string& value) {
    if (name == "_count") {
      const bool is_good =
          ReadNumber(value, read_.count) && read_.count > 0 && read_.count <= TaskQuery::kCountMax;
      if (is_good) return std::nullopt;
      return BadQuery{name, "1 to " + std::to_string(TaskQuery::kCountMax)};
    }
    if (name == "_format") {
      if (value == "json" || value == "application/fhir+json") return std::nullopt;
      return BadQuery{name, "json or application/fhir+json"};
    }
    if (name == "_from") {
      if (ReadPlace(value, read_.place)) return std::nullopt;
      return BadQuery{name, "what a \"next\" link of ours says"};
    }
    const auto parameters = Parameters();
    const auto row = std::ranges::find(parameters, name, &Parameter::asked);
    if (row != parameters.end()) return Add(*row, value);
    std::string names;
    for (const Parameter& known : parameters) names.append(known.asked).append(", ");
    return BadQuery{name, "one of " + names + "_count, _format"};
  }

  std::optional<BadQuery> Add(const Parameter& row, const std::string& value) {
    Condition condition;
    condition.parameter = static_cast<std::size_t>(&row - Parameters().data());
    for (const std::string_view part : SplitAtCommas(value)) {
      if (row.given != nullptr) {
        auto token = ReadToken(part);
        if (!token) return BadQuery{std::string(row.asked), "code, system|code, |code or system|"};
        condition.tokens.push_back(std::move(*token));
      } else {
        const auto bound = ReadBound(part);
        if (!bound) {
          return BadQuery{std::string(row.asked),
                          "a date-time with offset, after eq, lt, le, gt, ge or "
                          "nothing"};
        }
        condition.bounds.push_back(*bound);
      }
    }
    const bool is_status = row.asked == "status";
    const bool is_open = is_status && std::ranges::all_of(condition.tokens, [](const Token& token) {
                           return token.code == "requested" || token.code == "ready";
                         });
    read_.open_only = read_.open_only || is_open;
    read_.conditions.push_back(std::move(condition));
    return std::nullopt;
  }

  TaskQuery read_;
};

bool Fits(const Token& token, const std::pair<std::string, std::string>& given) {
  if (given.second.empty()) return false;
  if (token.system && *token.system != given.first) return false;
  return token.code.empty() || token.code == given.second;
}

bool Fits(const Bound& bound, Instant at) {
  switch (bound.prefix) {
    case Bound::Prefix::kEqual:
      return at == bound.at;
    case Bound::Prefix::kBefore:
      return at < bound.at;
    case Bound::Prefix::kUntil:
      return at <= bound.at;
    case Bound::Prefix::kAfter:
      return at > bound.at;
    case Bound::Prefix::kFrom:
      return at >= bound.at;
  }
  return false;
}

bool Fits(const Condition& condition, Value task) {
  const Parameter& row = Parameters()[condition.parameter];
  if (row.given == nullptr) {
    const auto at = DueAt(task);
    return at && std::ranges::any_of(condition.bounds,
                                     [&](const Bound& bound) { return Fits(bound, *at); });
  }
  const Given given = row.given(task);
  return std::ranges::any_of(condition.tokens, [&](const Token& token) {
    return std::ranges::any_of(given, [&](const auto& one) { return Fits(token, one); });
  });
}

}  // namespace

Result<TaskQuery, BadQuery> ReadTaskQuery(std::string_view query) { return Reader().Run(query); }

bool Fits(const TaskQuery& query, Value task) {
  return std::ranges::all_of(query.conditions,
                             [&](const Condition& condition) { return Fits(condition, task); });
}

std::string QueryOfPage(const TaskQuery& query, const Place& place) {
  std::string page = query.asked;
  if (place.line_seq == 0 && place.told == 0) return page;
  if (!page.empty()) page += '&';
  return page + "_from=" + std::to_string(place.line_seq) + "." + std::to_string(place.told);
}

}  // namespace dwell::search
