#include "mapping/fhir/unknown_codes.h"

#include <algorithm>
#include <variant>

namespace dwell::fhir {
namespace {

/// Tells the codes of each kind of event with the group that the makers look them up in.
class Looking {
 public:
  Looking(const codes::CodeMap& codes, std::vector<UnknownCode>& found)
      : codes_(codes), found_(found) {}

  void operator()(const event::Insertion& insertion) const {
    Look("reason", insertion.reason);
    if (insertion.line) Look("line-kind", insertion.line->kind);
    if (insertion.site) LookAt(*insertion.site);
    for (const event::FailedAttempt& attempt : insertion.attempts) {
      LookAt(attempt.site);
      Look("reason", attempt.reason);
    }
    if (insertion.preparation) Look("antiseptic", insertion.preparation->skin_antiseptic);
    if (insertion.flush) Look("fluid", insertion.flush->fluid);
    if (insertion.dressing) Look("dressing-type", insertion.dressing->type);
  }
  void operator()(const event::SiteCheck& check) const {
    if (check.dressing) Look("dressing-type", check.dressing->type);
    if (check.flush) Look("fluid", check.flush->fluid);
    for (const event::Code& action : check.action) Look("action", action);
  }
  void operator()(const event::Flush& flush) const { Look("fluid", flush.flush.fluid); }
  void operator()(const event::DressingChange& change) const {
    Look("dressing-type", change.type);
    Look("antiseptic", change.skin_antiseptic);
  }
  void operator()(const event::Removal& removal) const { Look("reason", removal.reason); }
  void operator()(const event::Retraction& retraction) const { Look("reason", retraction.reason); }

  void Look(std::string_view group, std::string_view code) const {
    if (code.empty() || codes_.Knows(group, code)) return;
    const UnknownCode unknown{group, code};
    if (std::ranges::count(found_, unknown) == 0) found_.push_back(unknown);
  }
  void LookAll(std::string_view group, const std::optional<std::vector<event::Code>>& codes) const {
    if (!codes) return;
    for (const event::Code& code : *codes) Look(group, code);
  }

 private:
  void LookAt(const event::Site& site) const {
    Look("site", site.place);
    Look("vein", site.vein);
  }

  const codes::CodeMap& codes_;
  std::vector<UnknownCode>& found_;
};

}  // namespace

std::vector<UnknownCode> UnknownCodes(const event::Event& event, const codes::CodeMap& codes) {
  std::vector<UnknownCode> found;
  const Looking looking(codes, found);
  for (const event::StaffMember& member : event.staff) looking.Look("role", member.role);
  looking.LookAll("patient-group", event.patient_groups);
  looking.LookAll("infusion", event.infusions);
  std::visit(looking, event.body);
  return found;
}

}  // namespace dwell::fhir
