#include "tests/endpoint/interactions.h"

#include <algorithm>
#include <charconv>
#include <unordered_set>

namespace practice {
namespace {

using dwell::schemas::Value;

std::string Text(std::optional<Value> object, std::string_view name) {
  const auto value = object && object->is_object() ? object->Find(name) : std::nullopt;
  return value && value->is_string() ? std::string(value->AsString()) : std::string();
}

bool IsId(std::string_view id) {  // FHIR R4 datatypes.html#id
  return !id.empty() && id.size() <= 64 && std::all_of(id.begin(), id.end(), [](char c) {
    return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '-' ||
           c == '.';
  });
}

/// R4 http.html#update: the server does not allow client defined ids.
Refusal NotYourIds() { return {405, "not-supported", "ids are chosen by this endpoint"}; }

/// What a query asks for, as the record keeps it; empty: neither an identifier nor a tag.
std::string IdentifierIn(std::string_view query) {
  const std::string tag = QueryValue(query, "_tag");
  return tag.empty() ? QueryValue(query, "identifier") : "_tag:" + tag;
}

bool IsType(std::string_view type) {
  return !type.empty() && type.front() >= 'A' && type.front() <= 'Z' &&
         std::all_of(type.begin(), type.end(),
                     [](char c) { return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z'); });
}

}  // namespace

std::string QueryValue(std::string_view query, std::string_view name) {
  while (!query.empty()) {
    const std::size_t end = std::min(query.find('&'), query.size());
    const std::string_view pair = query.substr(0, end);
    query.remove_prefix(std::min(end + 1, query.size()));
    if (!pair.starts_with(name) || pair.substr(name.size(), 1) != "=") continue;
    std::string value;
    for (std::size_t i = name.size() + 1; i < pair.size(); ++i) {
      unsigned code = 0;
      const bool is_escape =
          pair[i] == '%' && i + 2 < pair.size() &&
          std::from_chars(pair.data() + i + 1, pair.data() + i + 3, code, 16).ec == std::errc();
      value += is_escape ? static_cast<char>(code) : pair[i];
      if (is_escape) i += 2;
    }
    return value;
  }
  return {};
}

std::vector<Operation> Interactions::Read(Value bundle, std::optional<Refusal>& refusal) {
  std::vector<Operation> operations;
  const auto entries = bundle.Find("entry");
  if (!entries || !entries->is_array()) return operations;
  operations.reserve(entries->size());
  for (const Value entry : *entries) {
    Operation operation;
    const auto request = entry.is_object() ? entry.Find("request") : std::nullopt;
    operation.method = Text(request, "method");
    operation.url = Text(request, "url");
    operation.if_none_exist = Text(request, "ifNoneExist");
    operation.if_match = Text(request, "ifMatch");
    operation.full_url = Text(entry, "fullUrl");
    if (entry.is_object()) operation.resource = entry.Find("resource");
    if (operation.method.empty() || operation.url.empty()) {
      refusal = Refusal{400, "required", "each entry needs request.method and request.url"};
    }
    operations.push_back(std::move(operation));
  }
  return operations;
}

std::optional<Refusal> Interactions::AimAtMatch(const Operation& operation,
                                                const std::string& query, Plan& plan) {
  const std::string identifier = IdentifierIn(query);
  if (identifier.empty()) {
    return Refusal{400, "not-supported", "conditions go by identifier or tag only"};
  }
  const std::vector<std::string> ids = record_.Search(plan.type, identifier);
  if (ids.size() > 1) return Refusal{412, "multiple-matches", "the condition fits more than one"};
  const std::string own = Text(operation.resource, "id");
  if (!ids.empty()) {
    plan.id = ids.front();
    plan.is_no_change = operation.method == "POST";
    if (operation.method == "PUT" && !own.empty() && own != plan.id) {
      return Refusal{400, "invalid", "the resource's id is not that of the match"};
    }
    return std::nullopt;
  }
  const bool is_chosen = operation.method == "PUT" && !own.empty();
  if (is_chosen && own_ids) return NotYourIds();
  plan.id = is_chosen ? own : NewId();
  return std::nullopt;
}

/// Decides which resource the operation is about.
std::optional<Refusal> Interactions::Aim(const Operation& operation, Plan& plan) {
  const std::string_view url = operation.url;
  const std::size_t question = std::min(url.find('?'), url.size());
  const std::string_view path = url.substr(0, question);
  const std::size_t slash = std::min(path.find('/'), path.size());
  plan.type = std::string(path.substr(0, slash));
  if (!IsType(plan.type)) return Refusal{400, "invalid", "the URL does not name a resource type"};

  const bool is_put = operation.method == "PUT", is_post = operation.method == "POST";
  plan.is_delete = operation.method == "DELETE";
  if (!is_put && !is_post && !plan.is_delete) {
    return Refusal{405, "not-supported", "the method is none of POST, PUT, DELETE"};
  }
  if (!plan.is_delete && Text(operation.resource, "resourceType") != plan.type) {
    return Refusal{400, "invalid", "the resource's type is not that of the URL"};
  }
  if (is_post) {
    if (slash < path.size()) return Refusal{400, "invalid", "POST takes no id"};
    if (!operation.if_none_exist.empty()) {
      return AimAtMatch(operation, operation.if_none_exist, plan);
    }
    plan.id = NewId();
    return std::nullopt;
  }
  if (question < url.size()) {
    return AimAtMatch(operation, std::string(url.substr(question + 1)), plan);
  }
  plan.id = std::string(path.substr(std::min(slash + 1, path.size())));
  if (!IsId(plan.id)) return Refusal{400, "invalid", "the id in the URL is not legal"};
  if (is_put && Text(operation.resource, "id") != plan.id) {
    return Refusal{400, "invalid", "the resource's id is not that of the URL"};
  }
  if (is_put && own_ids && record_.Find(plan.type + "/" + plan.id) == nullptr) return NotYourIds();
  return std::nullopt;
}

/// Puts what conditional references find into `targets`.
std::optional<Refusal> Interactions::Resolve(const std::vector<std::string>& searches,
                                             Targets& targets) const {
  for (const std::string& search : searches) {
    const std::size_t question = search.find('?');
    const std::string type = search.substr(0, question);
    const std::vector<std::string> ids =
        record_.Search(type, IdentifierIn(std::string_view(search).substr(question + 1)));
    if (ids.empty()) return Refusal{412, "not-found", "a conditional reference finds nothing"};
    if (ids.size() > 1) {
      return Refusal{412, "multiple-matches", "a conditional reference finds more than one"};
    }
    targets.emplace(search, type + "/" + ids.front());
  }
  return std::nullopt;
}

std::optional<Refusal> Interactions::Compose(const Operation& operation, const Plan& plan,
                                             Targets& targets, const std::string& now, Write& write,
                                             std::vector<std::string>& references) {
  const Held* const held = record_.Find(plan.type + "/" + plan.id);
  const std::uint64_t version = held == nullptr ? 0 : held->version;
  if (!operation.if_match.empty() &&
      operation.if_match != "W/\"" + std::to_string(version) + "\"") {
    return Refusal{412, "conflict", "the version is another"};
  }
  write.type = plan.type;
  write.id = plan.id;
  write.is_delete = plan.is_delete;
  write.modified = now;
  if (plan.is_delete) return std::nullopt;
  const Stamp stamp{plan.id, std::to_string(version + 1), now};
  ResourceText text = Rewrite(*operation.resource, targets, stamp);
  if (resolving && !text.searches.empty()) {
    if (auto refusal = Resolve(text.searches, targets)) return refusal;
    text = Rewrite(*operation.resource, targets, stamp);
  }
  if (!text.unresolved.empty()) {
    return Refusal{400, "not-found", "a urn: reference names no entry of the bundle"};
  }
  references.insert(references.end(), text.references.begin(), text.references.end());
  write.json = std::move(text.json);
  write.identifiers = std::move(text.identifiers);
  return std::nullopt;
}

std::optional<Refusal> Interactions::Missing(const std::vector<std::string>& references,
                                             const std::vector<Plan>& plans) const {
  for (const std::string& reference : references) {
    const Held* const held = record_.Find(reference);
    if (held != nullptr && !held->deleted) continue;
    const bool comes_along = std::any_of(plans.begin(), plans.end(), [&](const Plan& plan) {
      return !plan.is_delete && reference == plan.type + "/" + plan.id;
    });
    if (!comes_along)
      return Refusal{409, "not-found", "referenced resource not found: " + reference};
  }
  return std::nullopt;
}

Outcomes Interactions::Run(const std::vector<Operation>& operations) {
  Outcomes outcomes;
  std::vector<Plan> plans(operations.size());
  Targets targets;
  std::unordered_set<std::string> keys;
  for (std::size_t i = 0; i < operations.size() && !outcomes.refusal; ++i) {
    outcomes.refusal = Aim(operations[i], plans[i]);
    std::string key = plans[i].type + "/" + plans[i].id;
    if (!operations[i].full_url.empty()) targets.emplace(operations[i].full_url, key);
    if (!keys.insert(std::move(key)).second && !outcomes.refusal) {
      outcomes.refusal = Refusal{400, "duplicate", "two entries write the same resource"};
    }
  }
  std::vector<Write> writes(operations.size());
  std::vector<std::string> references;
  const std::string now = InstantNow();
  for (std::size_t i = 0; i < operations.size() && !outcomes.refusal; ++i) {
    if (plans[i].is_no_change) continue;
    outcomes.refusal = Compose(operations[i], plans[i], targets, now, writes[i], references);
  }
  if (referential && !outcomes.refusal) outcomes.refusal = Missing(references, plans);
  if (outcomes.refusal) return outcomes;

  for (std::size_t i = 0; i < operations.size(); ++i) {
    Done done;
    if (plans[i].is_no_change) {
      const Held* const held = record_.Find(plans[i].type + "/" + plans[i].id);
      done = {"200 OK", held->type, held->id, held->version, held->modified, true};
    } else {
      const Held* const before = record_.Find(plans[i].type + "/" + plans[i].id);
      const bool is_new = before == nullptr || before->deleted;
      const Held& held = record_.Apply(std::move(writes[i]));
      done = {held.deleted ? "204 No Content"
              : is_new     ? "201 Created"
                           : "200 OK",
              held.type,
              held.id,
              held.version,
              held.modified,
              false};
    }
    outcomes.done.push_back(std::move(done));
  }
  return outcomes;
}

}  // namespace practice
