#include "mapping/fhir/bundle.h"

#include <algorithm>
#include <array>
#include <tuple>

#include "mapping/fhir/draft.h"
#include "mapping/fhir/plan.h"
#include "schemas/base/check.h"

namespace dwell::fhir {
namespace {

constexpr std::string_view kIdPrefix = "dwell-";
constexpr std::string_view kBegin = R"({"resourceType":"Bundle","type":"transaction","entry":[)";
constexpr std::string_view kEnd = "]}";
/// Room for what one event usually adds.
constexpr std::size_t kMoreIssued = 16;

/// Who writes which role, in the order of Role.
using Maker = void (*)(Draft&);
constexpr std::array<Maker, 16> kMakers = {
    MakeDevice,          MakeInsertion,     MakeAttempt,   MakeFlush,
    MakeDressingChange,  MakeRemoval,       MakeDeviceUse, MakeAssociation,
    MakeInsertionRecord, MakeFlushRecord,   MakeSiteCheck, MakeFlushRecord,
    MakeDressingRecord,  MakeSiteAtRemoval, MakeDwellTime, MakeTask};

/// What was issued before, found again by fingerprint (nothing changed) or by type and id.
class Before {
 public:
  explicit Before(const std::vector<Issued>& issued)
      : issued_(issued), seen_(issued.size(), false) {
    CHECK(std::ranges::is_sorted(issued, Less));
    by_fingerprint_.reserve(issued.size());
    for (std::size_t i = 0; i < issued.size(); ++i) {
      by_fingerprint_.emplace_back(issued[i].fingerprint, i);
    }
    std::ranges::sort(by_fingerprint_);
  }

  static bool Less(const Issued& a, const Issued& b) {
    return std::tie(a.type, a.id) < std::tie(b.type, b.id);
  }

  /// True when a resource made from exactly these inputs is out there.
  bool Unchanged(std::uint64_t fingerprint) {
    const auto found = std::ranges::lower_bound(by_fingerprint_, fingerprint, {},
                                                &std::pair<std::uint64_t, std::size_t>::first);
    if (found == by_fingerprint_.end() || found->first != fingerprint) return false;
    seen_[found->second] = true;
    return true;
  }

  /// Index of the resource by its name, or -1.
  int Find(std::string_view type, std::string_view id) {
    const auto found =
        std::ranges::lower_bound(issued_, std::tie(type, id), {}, [](const Issued& one) {
          return std::tuple<std::string_view, std::string_view>(one.type, one.id);
        });
    if (found == issued_.end() || found->type != type || found->id != id) return -1;
    const auto index = found - issued_.begin();
    seen_[static_cast<std::size_t>(index)] = true;
    return static_cast<int>(index);
  }

  /// Tasks that nothing calls for any more and that do not say so yet.
  std::vector<std::size_t> Withdrawn() const {
    std::vector<std::size_t> indexes;
    for (std::size_t i = 0; i < issued_.size(); ++i) {
      if (seen_[i] || issued_[i].type != Row(Role::kTask).type) continue;
      if (issued_[i].fingerprint != WithdrawnFingerprint(issued_[i].id)) indexes.push_back(i);
    }
    return indexes;
  }

 private:
  const std::vector<Issued>& issued_;
  std::vector<bool> seen_;
  std::vector<std::pair<std::uint64_t, std::size_t>> by_fingerprint_;
};

class Making {
 public:
  Making(const line::Line& line, const Context& context, const std::vector<Issued>& issued,
         const Cause& cause)
      : line_(line), context_(context), cause_(cause), known_(issued.size()), before_(issued) {
    made_.issued.reserve(issued.size() + kMoreIssued);
    made_.issued = issued;
  }

  Made Run(const std::vector<due::Due>& dues) && {
    std::vector<Item> changed = MakePlan(line_, dues, context_);
    std::erase_if(changed, [&](const Item& item) { return before_.Unchanged(item.fingerprint); });
    std::ranges::stable_sort(changed, {}, &Item::role);
    for (const Item& item : changed) {
      std::string id = ItemId(item, line_, context_);
      const int index = before_.Find(TypeOf(item.role, context_.release), id);
      if (index < 0 && item.only_if_issued) continue;
      Write(item, std::move(id), index);
    }
    for (const std::size_t index : before_.Withdrawn()) {
      Item item;
      item.role = Role::kTask;
      item.in_error = true;
      item.fingerprint = WithdrawnFingerprint(made_.issued[index].id);
      Write(item, made_.issued[index].id, static_cast<int>(index));
    }
    if (!made_.resources.empty()) {
      made_.resources.push_back(MakeProvenance(*scope_, made_.resources));
      const auto added = made_.issued.begin() + static_cast<std::ptrdiff_t>(known_);
      std::sort(added, made_.issued.end(), Before::Less);
      std::inplace_merge(made_.issued.begin(), added, made_.issued.end(), Before::Less);
    }
    return std::move(made_);
  }

 private:
  void Write(const Item& item, std::string id, int index) {
    if (!scope_) scope_.emplace(line_, context_, cause_);
    Draft draft(*scope_, item, id);
    kMakers[static_cast<std::size_t>(item.role)](draft);
    const std::string type(TypeOf(item.role, context_.release));
    if (index < 0) {
      made_.issued.push_back({type, id, item.fingerprint, 1});
    } else {
      Issued& issued = made_.issued[static_cast<std::size_t>(index)];
      issued.fingerprint = item.fingerprint;
      ++issued.version;
    }
    made_.resources.push_back(
        {type, std::move(id), WithAdditions(context_, type, draft.Finish()), Row(item.role).name});
  }

  const line::Line& line_;
  const Context& context_;
  const Cause& cause_;
  std::size_t known_;  ///< how many were issued before
  Before before_;
  std::optional<Scope> scope_;  ///< made only when something changed
  Made made_;
};

}  // namespace

Made Make(const line::Line& line, const std::vector<due::Due>& dues, const Context& context,
          const std::vector<Issued>& issued, const Cause& cause) {
  CHECK(context.codes != nullptr);
  return Making(line, context, issued, cause).Run(dues);
}

std::string TransactionBundle(const std::vector<Resource>& resources) {
  constexpr std::size_t kAroundEach = 256;
  std::size_t bytes = kAroundEach;
  for (const Resource& resource : resources) bytes += resource.json.size() + kAroundEach;
  std::string bundle;
  bundle.reserve(bytes);
  bundle += kBegin;
  for (const Resource& resource : resources) {
    if (&resource != &resources.front()) bundle += ',';
    CHECK(resource.id.starts_with(kIdPrefix));
    bundle += R"({"fullUrl":"urn:uuid:)";
    bundle.append(resource.id, kIdPrefix.size());
    bundle += R"(","resource":)";
    bundle += resource.json;
    bundle += R"(,"request":{"method":"PUT","url":")";
    bundle.append(resource.type).append("/").append(resource.id);
    bundle += R"("}})";
  }
  bundle += kEnd;
  return bundle;
}

std::optional<std::string_view> EntriesText(std::string_view bundle) {
  if (!bundle.starts_with(kBegin) || !bundle.ends_with(kEnd)) return std::nullopt;
  return bundle.substr(kBegin.size(), bundle.size() - kBegin.size() - kEnd.size());
}

std::string JoinEntries(const std::vector<std::string_view>& entries) {
  std::size_t bytes = kBegin.size() + kEnd.size();
  for (const std::string_view text : entries) bytes += text.size() + 1;
  std::string bundle;
  bundle.reserve(bytes);
  bundle += kBegin;
  for (const std::string_view text : entries) {
    if (bundle.size() > kBegin.size()) bundle += ',';
    bundle += text;
  }
  bundle += kEnd;
  return bundle;
}

}  // namespace dwell::fhir
