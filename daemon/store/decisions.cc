#include <array>
#include <utility>

#include "daemon/store/store_db.h"
#include "schemas/base/check.h"

namespace dwell::store {
namespace {

/// In the order of Act, as its numbers stand in the file.
struct Row {
  std::string_view name;
  DeliveryState state;  ///< afterwards
};
constexpr std::array<Row, 5> kActs{{
    {"released", DeliveryState::kReady},
    {"cancelled", DeliveryState::kCancelled},
    {"made-again", DeliveryState::kCancelled},
    {"derived-again", DeliveryState::kReady},
    {"sent-again", DeliveryState::kReady},
}};

const Row& RowOf(Act act) { return kActs.at(static_cast<std::size_t>(act)); }

/// Whether the decision is about a bundle that was made by it, and not about one on hold.
bool SpeaksOfItself(Act act) { return act == Act::kDerivedAgain || act == Act::kSentAgain; }

DecisionRecord ReadDecision(Query& query) {
  DecisionRecord decision;
  decision.seq = query.Number();
  decision.bundle_seq = query.Number();
  decision.at = query.When();
  const std::int64_t act = query.Number();
  // Anything else is damage that the file's own checks cannot see; "cancelled" promises nothing.
  decision.act = act >= 0 && act < static_cast<std::int64_t>(kActs.size()) ? static_cast<Act>(act)
                                                                           : Act::kCancelled;
  decision.made_again_as = query.Number();
  decision.former_attempts = static_cast<std::uint32_t>(query.Number());
  decision.by = query.Text();
  decision.why = query.Text();
  decision.former_why = query.Text();
  return decision;
}

Result<std::int64_t> AddDecision(Connection& connection, const DecisionRecord& decision,
                                 std::uint32_t former_attempts, std::string_view former_why) {
  Query add(connection, Sql::kAddDecision);
  add.Bind(decision.bundle_seq).Bind(decision.at).Bind(static_cast<std::int64_t>(decision.act));
  add.Bind(decision.made_again_as).Bind(std::int64_t{former_attempts});
  add.Bind(decision.by).Bind(decision.why).Bind(former_why);
  const Result<void> done = add.Run();
  if (done.has_error()) return done.error();
  return std::int64_t{sqlite3_last_insert_rowid(connection.db.get())};
}

}  // namespace

std::string_view ActName(Act act) { return RowOf(act).name; }

Result<std::vector<std::int64_t>> Store::OnHold(std::int64_t after, std::string_view part,
                                                std::size_t max) {
  Query query(db_->connection, Sql::kOnHold);
  query.Bind(after).Bind(part).Bind(static_cast<std::int64_t>(max));
  return Collect(query, [](Query& row) { return row.Number(); });
}

Result<std::int64_t> Store::Decide(const DecisionRecord& decision) {
  const auto bundle = FindBundle(decision.bundle_seq);
  if (bundle.has_error()) return bundle.error();
  CHECK(bundle.value().has_value());
  const DeliveryState before = bundle.value()->state;
  CHECK(!SpeaksOfItself(decision.act));
  CHECK(before == DeliveryState::kOnHold ||
        (before == DeliveryState::kReady && decision.act == Act::kMadeAgain));
  Result<std::int64_t> seq =
      AddDecision(db_->connection, decision, bundle.value()->attempts, bundle.value()->why);
  if (seq.has_error()) return seq;

  const DeliveryState after = RowOf(decision.act).state;
  const bool open = after == DeliveryState::kReady;
  Query decide(db_->connection, Sql::kDecide);
  decide.Bind(static_cast<std::int64_t>(after)).Bind(std::int64_t{open});
  decide.Bind(open ? std::optional<Instant>() : std::optional(decision.at));
  Result<void> done = decide.Bind(decision.bundle_seq).Run();
  if (done.has_error()) return done.error();
  db_->Count(bundle.value()->endpoint, &before, after);
  if (open) return seq;
  Query promote(db_->connection, Sql::kPromoteHead);
  done = promote.Bind(bundle.value()->line_seq).Bind(bundle.value()->endpoint).Run();
  if (done.has_error()) return done.error();
  return seq;
}

Result<std::int64_t> Store::WriteDown(const DecisionRecord& decision) {
  CHECK(SpeaksOfItself(decision.act));
  return AddDecision(db_->connection, decision, 0, {});
}

Result<std::vector<DecisionRecord>> Store::DecisionsAbout(std::int64_t bundle_seq) {
  Query query(db_->connection, Sql::kDecisionsOfBundle);
  query.Bind(bundle_seq);
  return Collect(query, ReadDecision);
}

}  // namespace dwell::store
