#include "tests/conformance/many/vocabulary.h"

#include <algorithm>
#include <array>

#include "mapping/codes/codes.h"
#include "schemas/base/check.h"
#include "schemas/json/document.h"

namespace dwell::many {
namespace {

struct MemberRow {
  std::string_view member, group;
};
constexpr std::array kMembers = {
    MemberRow{"action", "action"},      MemberRow{"fluid", "fluid"},
    MemberRow{"kind", "line-kind"},     MemberRow{"place", "site"},
    MemberRow{"reason", "reason"},      MemberRow{"role", "role"},
    MemberRow{"vein", "vein"},          MemberRow{"skin_antiseptic", "antiseptic"},
    MemberRow{"type", "dressing-type"}, MemberRow{"patient_groups", "patient-group"},
    MemberRow{"infusions", "infusion"},
};

}  // namespace

Vocabulary LoadVocabulary() {
  for (const auto& [name, text] : codes::BundledFiles()) {
    if (name.find(".codesystem.json") == std::string_view::npos) continue;
    const auto document = schemas::Document::Parse(text);
    CHECK(document.has_value());
    Vocabulary words;
    const schemas::Value concepts = *document->root().Find("concept");
    for (const schemas::Value concept_value : concepts) {
      const Word word{std::string(concept_value.Find("code")->AsString()),
                      std::string(concept_value.Find("display")->AsString())};
      const schemas::Value properties = *concept_value.Find("property");
      for (const schemas::Value property : properties) {
        if (property.Find("code")->AsString() != "group") continue;
        words[std::string(property.Find("valueCode")->AsString())].push_back(word);
      }
    }
    return words;
  }
  CHECK(false);
  return {};
}

std::string_view GroupOfMember(std::string_view name) {
  const auto row = std::ranges::find(kMembers, name, &MemberRow::member);
  return row == kMembers.end() ? std::string_view() : row->group;
}

std::vector<std::string_view> SentGroups() {
  std::vector<std::string_view> groups;
  for (const MemberRow& row : kMembers) groups.push_back(row.group);
  return groups;
}

const std::vector<std::string>& UnknownCodes() {
  static const std::vector<std::string> kCodes = {"house-made-7", "left-over.2", "x", "0",
                                                  "very-long-" + std::string(54, 'z')};
  return kCodes;
}

const std::vector<std::string>& Notes() {
  static const std::vector<std::string> kNotes = {
      "Second look by the night team.",
      "<b>not bold</b> & \"quoted\" 'single' </div><script>alert(1)</script>",
      "]]> <!-- comment --> <?php ?> &amp; &lt; &#x41; &nbsp;",
      "two\nlines\r\nand\ta tab",
      "\xC3\x84rger mit der Kan\xC3\xBCle, \xE6\x89\x8B\xE8\x83\x8C, \xD9\x8A\xD8\xAF, "
      "\xF0\x9F\xA9\xB9, e\xCC\x81",
      "zero width \xE2\x80\x8B, no-break\xC2\xA0space, line separator \xE2\x80\xA8 here",
      "\\\" { } [ ] \\u0041 / back\\slash",
      "-",
      std::string(4000, 'n'),
  };
  return kNotes;
}

const std::vector<std::string>& Lots() {
  static const std::vector<std::string> kLots = {"B240117",
                                                 "77-A/3",
                                                 "L<1>&2",
                                                 "\xC3\x84"
                                                 "B-\xE4\xB8\x80",
                                                 "0",
                                                 "lot 5 'b'"};
  return kLots;
}

const std::vector<std::string>& Decimals() {
  static const std::vector<std::string> kDecimals = {"2.50",
                                                     "10",
                                                     "0.9",
                                                     "0.0",
                                                     "12.000",
                                                     "5",
                                                     "0",
                                                     "37.25",
                                                     "36.0",
                                                     "38.40",
                                                     "0.10",
                                                     "100",
                                                     "1.0",
                                                     "7.125",
                                                     "0.001",
                                                     "20.5",
                                                     "30",
                                                     "60.0",
                                                     "0.30000000000000004",
                                                     "31.4159265358979323",
                                                     "5.00000000000000000"};
  return kDecimals;
}

const std::vector<std::string>& Extras() {
  static const std::vector<std::string> kExtras = {
      R"({})", R"({"rate":1.5e3,"tiny":1E-300,"huge":1e+300})",
      R"({"resourceType":"Patient","nested":{"a":[1,2.50,null,true,{}]}})",
      R"({"\u00e4":"\ud83e\ude79"})"};
  return kExtras;
}

}  // namespace dwell::many
