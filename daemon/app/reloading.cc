#include "daemon/app/reloading.h"

#include <boost/asio/post.hpp>
#include <utility>

#include "daemon/base/log.h"
#include "schemas/json/writer.h"

namespace dwell::app {
namespace {

ZoneMark MarkOf(const Knowledge& knowledge) {
  return {knowledge.zone.name(), knowledge.zone.Fingerprint(), knowledge.tz_version};
}

std::string Row(const Knowledge& knowledge, const std::vector<std::string>& needs_restart) {
  schemas::JsonWriter row;
  row.BeginObject();
  row.Member("policy", knowledge.policy.name);
  row.Member("version", knowledge.policy.version);
  row.Member("tz_data", knowledge.tz_version);
  row.Name("needs_restart");
  row.BeginArray();
  for (const std::string& key : needs_restart) row.String(key);
  row.EndArray();
  row.EndObject();
  return row.Take();
}

void LogReread(const std::vector<std::string>& needs_restart) {
  log::Write(log::Level::kInfo, "rules-read-again");
  if (needs_restart.empty()) return;
  std::string keys;
  for (const std::string& key : needs_restart) keys += (keys.empty() ? "" : ", ") + key;
  log::Write(log::Level::kWarning, "needs-a-restart", {{"what", Error(ErrorKind::kConfig, keys)}});
}

}  // namespace

struct Reloading::Fresh {
  config::Reread reread;
  std::shared_ptr<const Knowledge> knowledge;
};

Reloading::Reloading(Surroundings surroundings, config::Config config, config::Reader reader,
                     std::shared_ptr<const Knowledge> knowledge)
    : surroundings_(std::move(surroundings)),
      config_(std::move(config)),
      reader_(std::move(reader)),
      knowledge_(std::move(knowledge)),
      following_(surroundings_.executor, surroundings_.jobs, surroundings_.ledger),
      read_at_(surroundings_.clock.Now()) {
  following_.Resume(MarkOf(*knowledge_));
}

Reloading::~Reloading() { *alive_ = false; }

Result<Reloading::Fresh> Reloading::Read() const {
  const auto config = reader_();
  if (!config) return Error(ErrorKind::kConfig, AllFindings(config.error()));
  config::Reread reread = config::ReadAgain(config_, *config);
  auto knowledge = LoadKnowledge(reread.config, surroundings_.schemas);
  if (!knowledge) return knowledge.error();
  return Fresh{std::move(reread), std::move(*knowledge)};
}

void Reloading::Refuse(const Error& error, const std::function<void(Result<std::string>)>& done) {
  refused_at_ = surroundings_.clock.Now();
  last_ = Last::kRefused;
  log::Write(log::Level::kError, "rules-not-read-again", {{"why", error}});
  done(error);
}

void Reloading::Reload(std::string by, std::string why,
                       std::function<void(Result<std::string>)> done) {
  auto fresh = Read();
  if (!fresh) return Refuse(fresh.error(), done);
  // First, so that lines follow after a stop in the midst of it, too.
  following_.Begin(MarkOf(*fresh->knowledge), std::move(by), std::move(why));
  auto rules = RulesOf(fresh->knowledge, surroundings_.schemas, fresh->reread.config,
                       surroundings_.destinations);
  surroundings_.ledger.ReplaceRules(
      std::move(rules), [this, executor = surroundings_.executor, alive = alive_, fresh = *fresh,
                         done = std::move(done)](const Result<void>& replaced) {
        boost::asio::post(executor, [this, alive, fresh, replaced, done] {
          if (*alive) Replaced(fresh, replaced, done);
        });
      });
}

void Reloading::Replaced(const Fresh& fresh, const Result<void>& replaced,
                         const std::function<void(Result<std::string>)>& done) {
  if (!replaced) return Refuse(replaced.error(), done);
  config_ = fresh.reread.config;
  knowledge_ = fresh.knowledge;
  needs_restart_ = fresh.reread.needs_restart;
  read_at_ = surroundings_.clock.Now();
  refused_at_.reset();
  last_ = Last::kCounts;
  LogReread(needs_restart_);
  done(Row(*knowledge_, needs_restart_));
}

bool Reloading::Knows(const std::string& group, const std::string& code) const {
  return knowledge_->codes.Knows(group, code);
}

std::optional<bool> Reloading::last_went_well() const {
  const Last last = last_;
  if (last == Last::kNone) return std::nullopt;
  return last == Last::kCounts;
}

admin::InForce Reloading::in_force() const {
  const admin::Followed& followed = following_.state();
  admin::InForce in_force;
  in_force.policy = knowledge_->policy.name;
  in_force.version = knowledge_->policy.version;
  in_force.tz_data = knowledge_->tz_version;
  in_force.read_at = read_at_;
  in_force.refused_at = refused_at_;
  in_force.needs_restart = needs_restart_;
  if (!followed.over) {
    in_force.to_follow =
        admin::InForce::ToFollow{followed.sums.looked_at, followed.of, followed.waits_for};
  }
  return in_force;
}

}  // namespace dwell::app
