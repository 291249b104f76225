#include "daemon/config/rereading.h"

#include <algorithm>

#include "daemon/config/keys.h"

namespace dwell::config {
namespace {

bool IsSame(const Key& key, Config& left, Config& right) {
  const Field one = key.field(left);
  const Field other = key.field(right);
  return std::visit(
      [&other](auto* value) { return *value == **std::get_if<decltype(value)>(&other); }, one);
}

void Take(const Key& key, Config& from, Config& to) {
  const Field source = key.field(from);
  const Field target = key.field(to);
  std::visit([&source](auto* value) { *value = **std::get_if<decltype(value)>(&source); }, target);
}

const Config::Endpoint* FindEndpoint(const Config& config, const std::string& name) {
  const auto found = std::ranges::find(config.endpoints, name, &Config::Endpoint::name);
  return found == config.endpoints.end() ? nullptr : &*found;
}

/// Names, or the keys in which the two differ.
void CompareEndpoints(const Config& running, const Config& fresh, std::vector<std::string>& found) {
  for (const Config::Endpoint& endpoint : running.endpoints) {
    if (FindEndpoint(fresh, endpoint.name) == nullptr)
      found.push_back("endpoints." + endpoint.name);
  }
  for (const Config::Endpoint& endpoint : fresh.endpoints) {
    const Config::Endpoint* const before = FindEndpoint(running, endpoint.name);
    if (before == nullptr) {
      found.push_back("endpoints." + endpoint.name);
      continue;
    }
    Config left, right;
    left.endpoint = *before;
    right.endpoint = endpoint;
    for (const Key& key : AllKeys()) {
      if (std::string_view(key.section) != "endpoint" || IsSame(key, left, right)) continue;
      found.push_back("endpoints." + endpoint.name + "." + key.name);
    }
  }
}

}  // namespace

Reread ReadAgain(const Config& running, const Config& fresh) {
  Reread reread{running, {}};
  Config source = fresh;
  for (const Key& key : AllKeys()) {
    if (IsSame(key, reread.config, source)) continue;
    if (key.when == Key::When::kReload) {
      Take(key, source, reread.config);
    } else {
      reread.needs_restart.push_back(std::string(key.section) + "." + key.name);
    }
  }
  CompareEndpoints(running, fresh, reread.needs_restart);
  return reread;
}

}  // namespace dwell::config
