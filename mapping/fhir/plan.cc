#include "mapping/fhir/plan.h"

#include <algorithm>
#include <array>
#include <variant>

#include "mapping/fhir/ids.h"

namespace dwell::fhir {
namespace {

/// Raise when the same inputs come to be written otherwise: then every line's resources go out
/// again.
constexpr std::uint64_t kFormat = 6;

constexpr std::array<RoleRow, 16> kRows = {{
    {Role::kDevice, "device", "Device", "Vascular line"},
    {Role::kInsertion, "insertion", "Procedure", "Insertion of a vascular line"},
    {Role::kAttempt, "attempt", "Procedure", "Failed attempt to insert a vascular line"},
    {Role::kFlush, "flush", "Procedure", "Flush of a vascular line"},
    {Role::kDressingChange, "dressing-change", "Procedure", "Change of dressing"},
    {Role::kRemoval, "removal", "Procedure", "Removal of a vascular line"},
    {Role::kDeviceUse, "device-use", "DeviceUseStatement", "Vascular line in place"},
    {Role::kAssociation, "association", "DeviceAssociation", "Vascular line and its patient"},
    {Role::kInsertionRecord, "insertion-record", "Observation", "Insertion record"},
    {Role::kFirstFlush, "first-flush", "Observation", "First flush"},
    {Role::kSiteCheck, "site-check", "Observation", "Check of the site"},
    {Role::kFlushRecord, "flush-record", "Observation", "Flush record"},
    {Role::kDressingRecord, "dressing-record", "Observation", "Dressing record"},
    {Role::kSiteAtRemoval, "site-at-removal", "Observation", "Site at removal"},
    {Role::kDwellTime, "dwell-time", "Observation", "Dwell time"},
    {Role::kTask, "task", "Task", "Due for a vascular line"},
}};

bool AnyFinding(const event::Signs& signs) {
  return std::ranges::any_of(
      std::array{signs.pain, signs.erythema, signs.swelling, signs.induration, signs.palpable_cord,
                 signs.pyrexia, signs.streak, signs.pus, signs.leakage, signs.bleeding,
                 signs.bruising, signs.blanching, signs.coolness},
      [](event::Finding finding) { return finding != event::Finding::kNotAsked; });
}

/// Tells `emit(role, number)` each resource that one kind of event makes.
template <class Emit>
struct RolesOf {
  Emit emit;
  FhirRelease release;

  void operator()(const event::Insertion& insertion) const {
    using event::Outcome;
    const bool placed = insertion.outcome == Outcome::kPlaced;
    const bool failed = insertion.outcome == Outcome::kFailed;
    if (placed) emit(Role::kDevice, 0);
    // A failed insertion whose attempts are told is those attempts: one Procedure for each.
    if (!failed || insertion.attempts.empty()) emit(Role::kInsertion, 0);
    for (std::size_t i = 1; i <= insertion.attempts.size(); ++i) emit(Role::kAttempt, i);
    if (placed) emit(Role::kDeviceUse, 0);
    if (placed && release == FhirRelease::kR5) emit(Role::kAssociation, 0);
    if (placed || failed || insertion.preparation) emit(Role::kInsertionRecord, 0);
    if (insertion.flush) emit(Role::kFirstFlush, 0);
  }
  void operator()(const event::SiteCheck& check) const {
    emit(Role::kSiteCheck, 0);
    if (check.flush) emit(Role::kFlushRecord, 0);
  }
  void operator()(const event::Flush&) const {
    emit(Role::kFlush, 0);
    emit(Role::kFlushRecord, 0);
  }
  void operator()(const event::DressingChange& change) const {
    emit(Role::kDressingChange, 0);
    if (!change.found.empty() || !change.lot.empty() ||
        change.site_cleaned != event::Answer::kNotKnown) {
      emit(Role::kDressingRecord, 0);
    }
  }
  void operator()(const event::Removal& removal) const {
    emit(Role::kRemoval, 0);
    using event::Answer;
    if (removal.grade || AnyFinding(removal.signs) || removal.tip_complete != Answer::kNotKnown ||
        removal.bleeding_stopped != Answer::kNotKnown ||
        removal.tip_to_laboratory != Answer::kNotKnown) {
      emit(Role::kSiteAtRemoval, 0);
    }
  }
  void operator()(const event::Retraction&) const {}
};

bool IsPlaced(const line::Entry& entry) {
  const auto* insertion = std::get_if<event::Insertion>(&entry.event->body);
  return insertion != nullptr && insertion->outcome == event::Outcome::kPlaced;
}

class Planner {
 public:
  Planner(const line::Line& line, const Context& context)
      : line_(line),
        release_(context.release),
        insertion_(line.insertion()),
        removal_(line.removal()) {
    base_.Add(kFormat).Add(context.test_data ? 1U : 0U).Add(context.codes->fingerprint());
    base_.Add(static_cast<std::uint64_t>(context.release));
    base_.Add(static_cast<std::uint64_t>(context.patients));
    base_.Add(static_cast<std::uint64_t>(context.encounters));
    base_.Add(context.profiles ? 1U : 0U);
    for (const SecurityLabel& label : context.security) {
      base_.Add(label.system).Add(label.code).Add(label.display);
    }
    base_.Add(context.additions != nullptr ? context.additions->fingerprint() : 0U);
    AddEntry(base_, insertion_);
    plan_.reserve(line.entries.size() * 3);
  }

  std::vector<Item> Plan(const std::vector<due::Due>& dues) && {
    std::vector<const line::Entry*> replaced;
    for (const line::Entry& entry : line_.entries) {
      if (entry.standing == line::Standing::kReplaced) {
        replaced.push_back(&entry);
      } else {
        AddEvent(entry, entry.standing == line::Standing::kRetracted);
      }
    }
    // What a replacing event no longer makes, the newest replaced one that made it takes back.
    std::ranges::stable_sort(replaced, [](const line::Entry* a, const line::Entry* b) {
      return a->event->recorded_at.instant > b->event->recorded_at.instant;
    });
    for (const line::Entry* entry : replaced) AddEvent(*entry, true);
    for (const line::Entry* entry : replaced) TakeBackRoot(*entry, replaced);
    AddDwellTimes();
    for (const due::Due& due : dues) AddTask(due);
    return std::move(plan_);
  }

 private:
  void AddEvent(const line::Entry& entry, bool in_error) {
    const auto emit = [&](Role role, std::size_t number) {
      if (entry.standing == line::Standing::kReplaced && Has(entry.root_id, role, number)) return;
      const bool lives =
          &entry == insertion_ &&
          (role == Role::kDevice || role == Role::kDeviceUse || role == Role::kAssociation);
      Add({.role = role,
           .number = number,
           .entry = &entry,
           .partner = lives ? removal_ : nullptr,
           .in_error = in_error,
           .root = entry.root_id});
    };
    std::visit(RolesOf<decltype(emit)>{emit, release_}, entry.event->body);
  }

  /// A correction that comes before what it corrects names its chain by the earliest id it knows.
  /// When an event comes in between, the chain is named anew: what went out under the id of
  /// `middle` is another resource then, and would stay in force beside the right one.
  void TakeBackRoot(const line::Entry& middle, const std::vector<const line::Entry*>& replaced) {
    if (middle.event->id == middle.root_id) return;
    const auto take_back = [&](const line::Entry& version) {
      if (version.root_id != middle.root_id || &version == &middle) return;
      const auto emit = [&](Role role, std::size_t number) {
        if (!Has(middle.event->id, role, number)) TakeBack(role, number, version, middle.event->id);
      };
      std::visit(RolesOf<decltype(emit)>{emit, release_}, version.event->body);
    };
    for (const line::Entry& entry : line_.entries) {  // the newest version first
      if (entry.standing != line::Standing::kReplaced) take_back(entry);
    }
    for (const line::Entry* entry : replaced) take_back(*entry);
  }

  void TakeBack(Role role, std::size_t number, const line::Entry& entry, std::string_view root,
                const line::Entry* partner = nullptr) {
    Add({.role = role,
         .number = number,
         .entry = &entry,
         .partner = partner,
         .in_error = true,
         .root = root,
         .only_if_issued = true});
  }

  bool Has(std::string_view root, Role role, std::size_t number) const {
    return std::ranges::any_of(plan_, [&](const Item& item) {
      return item.role == role && item.number == number && item.root == root;
    });
  }

  /// The insertion that the dwell times go by: without one in force, one that was in force.
  const line::Entry* StartOfDwell() const {
    if (insertion_ != nullptr) return insertion_;
    const line::Entry* start = nullptr;
    for (const line::Entry& entry : line_.entries) {
      if (IsPlaced(entry)) start = &entry;
    }
    return start;
  }

  /// A dwell time stands on two events; it is in error when one of them is, if it was ever told.
  void AddDwellTimes() {
    const line::Entry* start = StartOfDwell();
    if (start == nullptr) return;
    for (const line::Entry& entry : line_.entries) {
      if (entry.event->kind() != event::Kind::kRemoval) continue;
      if (entry.standing == line::Standing::kReplaced) {
        if (entry.event->id == entry.root_id) continue;
        TakeBack(Role::kDwellTime, 0, entry, entry.event->id, start);
      } else if (entry.standing == line::Standing::kInForce && start == insertion_) {
        Add({.role = Role::kDwellTime, .entry = &entry, .partner = start, .root = entry.root_id});
      } else {
        TakeBack(Role::kDwellTime, 0, entry, entry.root_id, start);
      }
    }
  }

  void Add(Item item) {
    Fingerprint print = base_;
    const auto role = static_cast<std::uint64_t>(item.role);
    print.Add((item.number << 16U) | (role << 1U) | (item.in_error ? 1U : 0U));
    // An event's content never changes under its id (other content is a conflict), so the id stands
    // for it.
    print.Add(item.entry->event->id);
    if (item.root != item.entry->event->id) print.Add(item.root);
    if (item.partner != nullptr) AddEntry(print, item.partner);
    item.fingerprint = print.value();
    plan_.push_back(item);
  }

  void AddTask(const due::Due& due) {
    Fingerprint print = base_;
    const line::Entry* anchor = HeadOf(line_, due.anchor_id);
    print.Add(static_cast<std::uint64_t>(Role::kTask)).Add(static_cast<std::uint64_t>(due.rule));
    print.Add(due.anchor_id).Add(anchor != nullptr ? anchor->event->id : std::string_view());
    print.Add(static_cast<std::uint64_t>(due.from.time_since_epoch().count()));
    print.Add(static_cast<std::uint64_t>(due.due_at.time_since_epoch().count()));
    print.Add(static_cast<std::uint64_t>(due.stage)).Add(due.settled_by).Add(due.reason);
    if (due.stage == due::Stage::kSettled) AddSettling(print, HeadOf(line_, due.settled_by));
    print.Add(static_cast<std::uint64_t>(due.priority));
    print.Add(due.policy_name).Add(due.policy_version).Add(due.ward);
    plan_.push_back({.role = Role::kTask,
                     .due = &due,
                     .in_error = due.stage == due::Stage::kEnteredInError,
                     .only_if_issued = due.only_if_issued,
                     .fingerprint = print.value()});
  }

  /// What a Task tells of the event that settled it, which a correction may have changed since:
  /// when it happened, and its resource.
  static void AddSettling(Fingerprint& print, const line::Entry* settling) {
    if (settling == nullptr) return;
    const Primary primary = PrimaryOf(*settling->event);
    print.Add(settling->event->happened.text).Add(static_cast<std::uint64_t>(primary.role));
    print.Add(static_cast<std::uint64_t>(primary.number));
  }

  /// What is referred to: its content by its id, its resources by its root.
  static void AddEntry(Fingerprint& print, const line::Entry* entry) {
    print.Add(entry != nullptr ? entry->event->id : std::string_view());
    print.Add(entry != nullptr ? entry->root_id : std::string_view());
  }

  const line::Line& line_;
  FhirRelease release_;
  const line::Entry* insertion_;
  const line::Entry* removal_;
  Fingerprint base_;
  std::vector<Item> plan_;
};

}  // namespace

const RoleRow& Row(Role role) { return kRows[static_cast<std::size_t>(role)]; }

std::string_view TypeOf(Role role, FhirRelease release) {
  if (role == Role::kDeviceUse && release == FhirRelease::kR5) return "DeviceUsage";
  return Row(role).type;
}

std::vector<std::string_view> TypesWritten(FhirRelease release) {
  std::vector<std::string_view> types;
  for (int role = 0; role <= static_cast<int>(Role::kTask); ++role) {
    const auto one = static_cast<Role>(role);
    if (one == Role::kAssociation && release != FhirRelease::kR5) continue;
    const std::string_view type = TypeOf(one, release);
    if (std::ranges::find(types, type) == types.end()) types.push_back(type);
  }
  types.push_back("Provenance");  // made for each bundle, by no role
  return types;
}

std::vector<Item> MakePlan(const line::Line& line, const std::vector<due::Due>& dues,
                           const Context& context) {
  return Planner(line, context).Plan(dues);
}

Primary PrimaryOf(const event::Event& event) {
  if (const auto* insertion = std::get_if<event::Insertion>(&event.body)) {
    const bool told = insertion->outcome == event::Outcome::kFailed && !insertion->attempts.empty();
    return told ? Primary{Role::kAttempt, insertion->attempts.size()}
                : Primary{Role::kInsertion, 0};
  }
  switch (event.kind()) {
    case event::Kind::kFlush:
      return {Role::kFlush, 0};
    case event::Kind::kDressingChange:
      return {Role::kDressingChange, 0};
    case event::Kind::kRemoval:
      return {Role::kRemoval, 0};
    default:
      return {Role::kSiteCheck, 0};
  }
}

const line::Entry* HeadOf(const line::Line& line, std::string_view root_id) {
  for (const line::Entry& entry : line.entries) {
    if (entry.standing != line::Standing::kReplaced && entry.root_id == root_id) return &entry;
  }
  return nullptr;
}

std::string EventResourceId(const Context& context, std::string_view source,
                            std::string_view root_id, Role role, std::size_t number) {
  return ResourceId(context.site_namespace,
                    {source, "event", root_id, Row(role).name, std::to_string(number)});
}

std::string TaskId(const Context& context, const line::Key& key, const due::Due& due) {
  return ResourceId(context.site_namespace,
                    {key.source, "task", key.line_id, due::RuleCode(due.rule), due.anchor_id});
}

std::uint64_t WithdrawnFingerprint(std::string_view id) {
  return Fingerprint().Add("withdrawn").Add(id).value();
}

}  // namespace dwell::fhir
