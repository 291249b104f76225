// The words of our own CodeSystem by group, and the texts that a sender might use to hurt us.
#pragma once

#include <map>
#include <string>
#include <string_view>
#include <vector>

namespace dwell::many {

struct Word {
  std::string code;
  std::string display;
};

/// group -> concepts, as mapping/codes/line-care.codesystem.json lists them.
using Vocabulary = std::map<std::string, std::vector<Word>, std::less<>>;
Vocabulary LoadVocabulary();

/// Which group the code in member `name` of an event is looked up in; empty for no code.
std::string_view GroupOfMember(std::string_view name);
/// The groups whose codes events send in a member of type "code".
std::vector<std::string_view> SentGroups();

/// Codes that our CodeSystem does not know, legal by the contract.
const std::vector<std::string>& UnknownCodes();
/// Free text as staff, keyboards and other programs produce it.
const std::vector<std::string>& Notes();
/// Lots, wards, identifiers: one line each.
const std::vector<std::string>& Lots();
/// Numbers whose text must survive.
const std::vector<std::string>& Decimals();
/// JSON objects for the member "extra", which is never mapped.
const std::vector<std::string>& Extras();

}  // namespace dwell::many
