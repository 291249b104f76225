// Deriving lines again, on a ledger on a real store: with other code maps and policies, for tests.
#pragma once

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <iterator>
#include <map>
#include <set>

#include "tests/daemon/ledger/ledger_rig.h"

namespace dwell::ledger {

using Names = std::set<std::string>;

/// The bundled maps with a site's own map over them, which gives one code of ours another target.
inline codes::CodeMap MapWith(const std::string& code) {
  auto map = codes::CodeMap::LoadBundled(
      codes::CodeMap::Edition::kFree,
      codes::File{"site.json", R"({"resourceType":"ConceptMap","group":[{"target":"urn:x","source":
          "https://dwelld.example/fhir/CodeSystem/line-care","element":[{"code":")" +
                                   code + R"(","target":[{"code":"X1","display":"new words",
          "equivalence":"equivalent"}]}]}]})"});
  if (!map) {
    ADD_FAILURE() << map.error().message();
    std::abort();
  }
  return std::move(*map);
}

class Remapping : public test::LedgerRig {
 protected:
  RemapPage Page(RemapOrder order) {
    std::promise<RemapPage> told;
    ledger_->Remap(std::move(order), [&told](Result<RemapPage> page) {
      ASSERT_TRUE(page.has_value()) << page.error().message();
      told.set_value(std::move(page.value()));
    });
    return told.get_future().get();
  }
  /// All pages as one.
  RemapPage All(RemapOrder order) {
    RemapPage all;
    while (true) {
      RemapPage page = Page(order);
      std::ranges::move(page.lines, std::back_inserter(all.lines));
      all.looked_at += page.looked_at;
      all.chosen += page.chosen;
      all.same += page.same;
      all.refusal = page.refusal;
      ++pages_;
      if (!page.more) return all;
      order.after = page.after;
    }
  }
  RemapPage Look() { return All({}); }
  static RemapOrder Sending() {
    RemapOrder order;
    order.send = true;
    order.by = "op-3";
    order.why = "map of March";
    return order;
  }
  RemapPage Send() { return All(Sending()); }
  void UseMap(const codes::CodeMap& map) {
    rules_.fhir.codes = &map;
    Reopen();
  }
  void UsePolicy(const due::Policy& policy) {
    rules_.policy = &policy;
    Reopen();
  }
  std::vector<store::DecisionRecord> DecisionsAbout(std::int64_t bundle_seq) {
    std::vector<store::DecisionRecord> decisions;
    EXPECT_TRUE(OnStore([&](store::Store& store) -> Result<void> {
                  decisions = store.DecisionsAbout(bundle_seq).value();
                  return {};
                }).has_value());
    return decisions;
  }
  void HoldAll() {
    EXPECT_TRUE(OnStore([&](store::Store& store) -> Result<void> {
                  auto claimed = store.Claim(0, clock_.Now(), 100);
                  if (claimed.has_error()) return claimed.error();
                  for (const store::BundleRecord& bundle : claimed.value()) {
                    store::Settlement held;
                    held.bundle_seq = bundle.seq;
                    held.state = store::DeliveryState::kOnHold;
                    held.why = "refused";
                    Result<void> settled = store.Settle(held);
                    if (settled.has_error()) return settled;
                  }
                  return {};
                }).has_value());
  }
  static Names NamesOf(const RemapPage& page) {
    Names names;
    for (const RemappedLine& line : page.lines) {
      for (const Remapped& one : line.resources) names.insert(one.type + "/" + one.id);
    }
    return names;
  }
  /// "Type/id" and text of every resource in the bundles, the latest where there are several.
  static std::map<std::string, std::string> TextsIn(const std::vector<std::string>& bodies) {
    constexpr std::string_view kStart = R"("resource":)";
    constexpr std::string_view kEnd = R"(,"request":{"method":"PUT","url":")";
    std::map<std::string, std::string> texts;
    for (const std::string& body : bodies) {
      for (auto at = body.find(kStart); at != std::string::npos; at = body.find(kStart, at + 1)) {
        const auto end = body.find(kEnd, at);
        const auto url = end + kEnd.size();
        texts[body.substr(url, body.find('"', url) - url)] =
            body.substr(at + kStart.size(), end - at - kStart.size());
      }
    }
    return texts;
  }
  static Names NamesIn(const std::vector<std::string>& bodies) {
    Names names;
    for (const auto& [name, text] : TextsIn(bodies)) {
      if (!name.starts_with("Provenance/")) names.insert(name);
    }
    return names;
  }

  int pages_ = 0;
};

}  // namespace dwell::ledger
