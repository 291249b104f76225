#include "schemas/json/builder.h"

#include <rapidjson/error/en.h>

#include <algorithm>
#include <limits>

#include "schemas/json/in_place.h"
#include "schemas/json/utf8.h"

namespace dwell::schemas {
namespace {

constexpr std::string_view kByteOrderMark = "\xEF\xBB\xBF";
/// Offsets are 32 bits wide.
constexpr std::size_t kBytesMax = std::numeric_limits<std::uint32_t>::max() - 1;
/// Up to here the names of an object are compared in pairs; beyond, they are sorted.
constexpr std::uint32_t kPairwiseMax = 32;
/// Longer names are not repeated in a report: it must stay short whatever is sent.
constexpr std::size_t kReportedNameBytesMax = 64;
/// Typical bytes of text per value in FHIR and in ward events; only to reserve room.
constexpr std::size_t kBytesPerValue = 12;

/// What is wrong with the bytes of a text before its grammar is looked at; an empty rule if
/// nothing.
ParseProblem CheckBytes(std::string_view text, const ParseLimits& limits) {
  if (text.size() > std::min(limits.bytes_max, kBytesMax)) {
    return {"size", "", 0, "at most " + std::to_string(limits.bytes_max) + " bytes"};
  }
  if (text.starts_with(kByteOrderMark)) {
    return {"encoding", "", 0, "UTF-8 without a byte order mark"};
  }
  if (const auto nul = text.find('\0'); nul != std::string_view::npos) {
    return {"nul", "", nul, "no U+0000"};
  }
  if (const auto bad = FirstBadUtf8(text)) return {"encoding", "", *bad, "UTF-8"};
  return {};
}

/// Up to here the reader may recurse, as deep as the handler lets it: a level takes some 200 bytes
/// of the stack. Beyond, it goes on without recursion, which takes half as long again.
constexpr std::size_t kRecursionMax = 64;
constexpr unsigned kFlags = rapidjson::kParseInsituFlag | rapidjson::kParseNumbersAsStringsFlag;

}  // namespace

DocumentBuilder::DocumentBuilder(std::string_view text, const ParseLimits& limits)
    : limits_(limits), problem_(CheckBytes(text, limits)) {
  if (!problem_.rule.empty()) return;
  document_.characters_.reserve(text.size() + kPlainPadding);
  document_.characters_ = text;
  document_.characters_.append(kPlainPadding, '\0');
  has_unicode_escapes_ = text.find("\\u") != std::string_view::npos;
  document_.nodes_.reserve(std::min(text.size() / kBytesPerValue + 8, limits.values_max));
}

Result<Document, ParseProblem> DocumentBuilder::Build() {
  if (!problem_.rule.empty()) return std::move(problem_);
  rapidjson::Reader reader;
  InPlaceStream stream(document_.characters_.data());
  const rapidjson::ParseResult result =
      limits_.depth_max <= kRecursionMax
          ? reader.Parse<kFlags>(stream, *this)
          : reader.Parse<kFlags | rapidjson::kParseIterativeFlag>(stream, *this);
  if (!problem_.rule.empty()) return std::move(problem_);
  if (result.IsError()) return FromReader(result);
  return std::move(document_);
}

ParseProblem DocumentBuilder::FromReader(const rapidjson::ParseResult& result) const {
  if (result.Code() == rapidjson::kParseErrorStringUnicodeSurrogateInvalid) {
    return {"encoding", OpenPointer(), result.Offset(), "surrogates in pairs"};
  }
  // The library's texts are fixed sentences, without anything from the input.
  return {"syntax", OpenPointer(), result.Offset(),
          std::string("JSON (RFC 8259): ") + rapidjson::GetParseError_En(result.Code())};
}

bool DocumentBuilder::Refuse(std::string_view rule, std::size_t offset, std::string_view expected) {
  problem_ = {std::string(rule), OpenPointer(), offset, std::string(expected)};
  return false;
}

std::string DocumentBuilder::OpenPointer() const {
  if (depth_ == 0) return "";
  std::string pointer = Value(&document_, open_).Pointer();
  if (named_ && name_bytes_ <= kReportedNameBytesMax) {
    pointer += '/' + PointerToken(document_.Characters(name_offset_, name_bytes_));
  }
  return pointer;
}

bool DocumentBuilder::Add(Kind kind) {
  auto& nodes = document_.nodes_;
  const auto index = static_cast<std::uint32_t>(nodes.size());
  if (index >= limits_.values_max) {
    return Refuse("count", name_offset_,
                  "at most " + std::to_string(limits_.values_max) + " values");
  }
  if (depth_ > 0) ++nodes[open_].children;
  nodes.push_back({kind, false, named_ ? name_hash_ : 0, name_offset_, named_ ? name_bytes_ : 0, 0,
                   0, 0, index + 1, depth_ > 0 ? open_ : 0});
  named_ = false;
  return true;
}

bool DocumentBuilder::Open(Kind kind) {
  if (depth_ >= limits_.depth_max) {
    return Refuse("depth", name_offset_,
                  "at most " + std::to_string(limits_.depth_max) + " levels");
  }
  if (!Add(kind)) return false;
  open_ = static_cast<std::uint32_t>(document_.nodes_.size() - 1);
  // Until it is closed, the container reaches as far as can be: Pointer() may be asked meanwhile.
  document_.nodes_[open_].end = std::numeric_limits<std::uint32_t>::max();
  ++depth_;
  return true;
}

void DocumentBuilder::Close() {
  Node& node = document_.nodes_[open_];
  node.end = static_cast<std::uint32_t>(document_.nodes_.size());
  open_ = node.parent;
  --depth_;
}

bool DocumentBuilder::Bool(bool truth) {
  if (!Add(Kind::kBool)) return false;
  document_.nodes_.back().truth = truth;
  return true;
}

bool DocumentBuilder::SetText(const char* text, rapidjson::SizeType length) {
  document_.nodes_.back().text_offset = Offset(text);
  document_.nodes_.back().text_bytes = length;
  return true;
}

bool DocumentBuilder::RawNumber(const char* text, rapidjson::SizeType length, bool) {
  return Add(Kind::kNumber) && SetText(text, length);
}

bool DocumentBuilder::String(const char* text, rapidjson::SizeType length, bool) {
  if (!AcceptableCharacters(text, length)) return false;
  return Add(Kind::kString) && SetText(text, length);
}

bool DocumentBuilder::Key(const char* name, rapidjson::SizeType length, bool) {
  if (!AcceptableCharacters(name, length)) return false;
  name_offset_ = Offset(name);
  name_bytes_ = length;
  name_hash_ = NameHash({name, length});
  named_ = true;
  return true;
}

bool DocumentBuilder::EndObject(rapidjson::SizeType) {
  const std::uint32_t duplicate = FindDuplicate(open_);
  if (duplicate != 0) return RefuseDuplicate(duplicate);
  Close();
  return true;
}

bool DocumentBuilder::EndArray(rapidjson::SizeType) {
  Close();
  return true;
}

bool DocumentBuilder::AcceptableCharacters(const char* text, rapidjson::SizeType length) {
  if (!has_unicode_escapes_) return true;  // then CheckBytes() has seen every character
  const std::string_view characters(text, length);
  if (characters.find('\0') != std::string_view::npos)
    return Refuse("nul", Offset(text), "no U+0000");
  // The library lets a low surrogate stand alone; decoded, it is no UTF-8.
  if (FirstBadUtf8(characters)) return Refuse("encoding", Offset(text), "surrogates in pairs");
  return true;
}

bool DocumentBuilder::RefuseDuplicate(std::uint32_t member) {
  name_offset_ = document_.nodes_[member].name_offset;
  name_bytes_ = document_.nodes_[member].name_bytes;
  named_ = true;
  return Refuse("duplicate-member", name_offset_, "each member name once in an object");
}

std::uint32_t DocumentBuilder::FindDuplicate(std::uint32_t object) {
  const std::uint32_t count = document_.nodes_[object].children;
  if (count < 2) return 0;
  return count <= kPairwiseMax ? FindDuplicateByMask(object) : FindDuplicateBySorting(object);
}

std::uint32_t DocumentBuilder::FindDuplicateByMask(std::uint32_t object) const {
  const auto& nodes = document_.nodes_;
  std::uint64_t seen = 0;
  for (std::uint32_t at = object + 1; at < nodes.size(); at = nodes[at].end) {
    const std::uint32_t hash = nodes[at].name_hash;
    const std::uint64_t bit = std::uint64_t{1} << (hash % 64);
    if ((seen & bit) != 0) {
      for (std::uint32_t earlier = object + 1; earlier < at; earlier = nodes[earlier].end) {
        if (nodes[earlier].name_hash == hash && Name(earlier) == Name(at)) return at;
      }
    }
    seen |= bit;
  }
  return 0;
}

std::uint32_t DocumentBuilder::FindDuplicateBySorting(std::uint32_t object) {
  const auto& nodes = document_.nodes_;
  members_.clear();
  for (std::uint32_t at = object + 1; at < nodes.size(); at = nodes[at].end) {
    members_.push_back(at);
  }
  std::sort(members_.begin(), members_.end(), [&](std::uint32_t a, std::uint32_t b) {
    const int order = Name(a).compare(Name(b));
    return order != 0 ? order < 0 : a < b;
  });
  const auto same =
      std::adjacent_find(members_.begin(), members_.end(),
                         [&](std::uint32_t a, std::uint32_t b) { return Name(a) == Name(b); });
  return same == members_.end() ? 0 : *(same + 1);
}

Result<Document, ParseProblem> Document::Parse(std::string_view text, const ParseLimits& limits) {
  return DocumentBuilder(text, limits).Build();
}

}  // namespace dwell::schemas
