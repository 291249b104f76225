// Fills the contract of one kind with values: every member that nobody decided on is left out or
// given a value that its schema allows.
#pragma once

#include <map>
#include <string>
#include <string_view>

#include "mapping/event/moment.h"
#include "schemas/json/writer.h"
#include "tests/conformance/many/contract.h"
#include "tests/conformance/many/dice.h"
#include "tests/conformance/many/vocabulary.h"

namespace dwell::many {

/// What is decided beforehand: path of a member ("line/kind") -> finished JSON; "" leaves it out,
/// kSome puts it in with any value.
using Decided = std::map<std::string, std::string, std::less<>>;
inline constexpr std::string_view kSome = "?";

class Filler {
 public:
  Filler(const Contract& contract, const Vocabulary& words, Dice* dice)
      : contract_(contract), words_(words), dice_(*dice) {}

  /// An event of `kind` as JSON. `happened` bounds the times inside it. `presence_percent` is the
  /// chance of each optional member.
  std::string Fill(std::string_view kind, const Decided& decided, Instant happened,
                   int presence_percent);

 private:
  void Value(const Node& node, std::string_view member, const std::string& path);
  void Object(const Node& node, const std::string& path);
  void Array(const Node& node, std::string_view member, const std::string& path);
  void Grade(const Node& node);
  void Scalar(const Node& node, std::string_view member);
  std::string Code(std::string_view member);
  std::string Number(const Node& node);
  std::string Integer(const Node& node);
  std::string Expiry();

  const Contract& contract_;
  const Vocabulary& words_;
  Dice& dice_;
  const Decided* decided_ = nullptr;
  Instant happened_{};
  int presence_percent_ = 0;
  schemas::JsonWriter json_;
};

/// `text` as a JSON string.
std::string Quoted(std::string_view text);

}  // namespace dwell::many
