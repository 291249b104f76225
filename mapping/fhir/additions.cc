#include "mapping/fhir/additions.h"

#include <algorithm>

#include "mapping/fhir/ids.h"
#include "mapping/fhir/plan.h"
#include "schemas/base/check.h"
#include "schemas/json/write_value.h"

namespace dwell::fhir {
namespace {

using schemas::Document;
using schemas::JsonWriter;
using schemas::Kind;
using schemas::Value;
using schemas::Violation;

// Ten times what a site with a page of extensions for every type needs.
constexpr schemas::ParseLimits kFileLimits{.bytes_max = 256U << 10U, .depth_max = 16};

/// RFC 7396 section 2. As deep as the patch, which the parser's limit bounds.
void Merge(std::optional<Value> target, Value patch, JsonWriter& out) {
  if (!patch.is_object()) return schemas::WriteValue(out, patch);
  if (target && !target->is_object()) target.reset();
  out.BeginObject();
  if (target) {
    for (const Value member : *target) {
      const auto change = patch.Find(member.name());
      if (change && change->kind() == Kind::kNull) continue;
      out.Name(member.name());
      if (change) {
        Merge(member, *change, out);
      } else {
        schemas::WriteValue(out, member);
      }
    }
  }
  for (const Value change : patch) {
    if (change.kind() == Kind::kNull || (target && target->Find(change.name()))) continue;
    out.Name(change.name());
    Merge(std::nullopt, change, out);
  }
  out.EndObject();
}

std::string Merged(Value target, Value patch) {
  JsonWriter out;
  Merge(target, patch, out);
  return out.Take();
}

/// Why a patch of that type may not have this member at `path`; empty when it may.
std::string_view WhyRefused(std::string_view type, std::string_view path, Value member) {
  if (const auto why = WhyProtected(path); !why.empty()) return why;
  if (path == "extension" && type == TypeOf(Role::kDeviceUse, FhirRelease::kR4)) {
    return "holds why the line came out; a merge patch replaces whole arrays";
  }
  if (path == "meta" && !member.is_object()) return "holds where the resource comes from";
  if (member.kind() == Kind::kNull) return "would be taken away by null; a site only adds";
  return {};
}

void FindProtected(std::string_view type, Value patch, const std::string& below,
                   std::vector<Violation>& faults) {
  for (const Value member : patch) {
    const std::string path = below + std::string(member.name());
    const std::string_view why = WhyRefused(type, path, member);
    if (!why.empty()) {
      faults.push_back(
          {member.Pointer(), "protected", "no addition to this member: it " + std::string(why)});
    } else if (path == "meta") {
      FindProtected(type, member, "meta.", faults);
    }
  }
}

}  // namespace

std::optional<std::string> MergePatch(std::string_view target, std::string_view patch) {
  const auto before = Document::Parse(target);
  const auto change = Document::Parse(patch);
  if (!before || !change) return std::nullopt;
  return Merged(before->root(), change->root());
}

Result<Additions, std::vector<Violation>> Additions::Read(std::string_view text,
                                                          const schemas::Bundled& schemas,
                                                          FhirRelease release) {
  auto document = Document::Parse(text, kFileLimits);
  if (!document) {
    const schemas::ParseProblem& problem = document.error();
    return std::vector<Violation>{{problem.pointer, problem.rule, problem.expected}};
  }
  Additions additions;
  additions.document_ = std::make_unique<const Document>(std::move(*document));
  const Value root = additions.document_->root();
  if (!root.is_object()) {
    return std::vector<Violation>{{"", "type", "an object with a member for each resource type"}};
  }
  std::vector<Violation> faults;
  const std::vector<std::string_view> types = TypesWritten(release);
  for (const Value patch : root) {
    if (std::ranges::find(types, patch.name()) == types.end()) {
      faults.push_back(
          {patch.Pointer(), "enum",
           "a resource type that is made in FHIR " + std::string(FhirVersion(release))});
    } else if (!patch.is_object()) {
      faults.push_back({patch.Pointer(), "type", "an object: the merge patch of this type"});
    } else {
      FindProtected(patch.name(), patch, "", faults);
      additions.patches_.emplace_back(patch.name(), patch);
    }
  }
  if (faults.empty()) faults = additions.Check(schemas);
  if (!faults.empty()) return faults;
  JsonWriter canonical;
  schemas::WriteValue(canonical, root);
  additions.fingerprint_ = Fingerprint().Add(canonical.text()).value();
  return additions;
}

/// What a patch adds must be legal by itself: what a bare resource lacks is not its fault. Of what
/// we write, `meta` is the one object that a patch may enter, so it stands there as we write it.
std::vector<Violation> Additions::Check(const schemas::Bundled& schemas) const {
  std::vector<Violation> faults;
  for (const auto& [type, patch] : patches_) {
    const std::string bare =
        R"({"resourceType":")" + std::string(type) + R"(","meta":{"source":"urn:x"}})";
    const auto before = Document::Parse(bare);
    CHECK(before.has_value());
    const auto after = Document::Parse(Merged(before->root(), patch));
    CHECK(after.has_value());
    const auto known = schemas.CheckResource(before->root());
    for (Violation& fault : schemas.CheckResource(after->root())) {
      const bool is_old = std::ranges::any_of(known, [&](const Violation& old) {
        return old.pointer == fault.pointer && old.rule == fault.rule &&
               old.expected == fault.expected;
      });
      if (is_old) continue;
      fault.pointer.insert(0, "/" + std::string(type));
      faults.push_back(std::move(fault));
    }
  }
  return faults;
}

std::string Additions::Apply(std::string_view type, std::string resource) const {
  const auto found = std::ranges::find(patches_, type, &decltype(patches_)::value_type::first);
  if (found == patches_.end()) return resource;
  const auto document = Document::Parse(resource);
  CHECK(document.has_value());  // we wrote it
  return Merged(document->root(), found->second);
}

}  // namespace dwell::fhir
