#include "mapping/codes/codes.h"

#include <algorithm>
#include <deque>
#include <unordered_map>

#include "mapping/codes/layers.h"
#include "mapping/codes/vocabulary.h"
#include "schemas/base/check.h"
#include "schemas/json/name.h"
#include "schemas/json/writer.h"

namespace dwell::codes {
namespace {

struct Key {
  std::string_view group, code, qualifier;
  friend bool operator==(const Key&, const Key&) = default;
};

/// FNV-1a (public domain; Fowler, Noll, Vo).
std::uint64_t Mix(std::uint64_t hash, std::string_view text) {
  for (const char c : text) hash = (hash ^ static_cast<unsigned char>(c)) * 0x100000001b3U;
  return (hash ^ 0xffU) * 0x100000001b3U;  // ends a part: 0xff is never in UTF-8
}
constexpr std::uint64_t kSeed = 0xcbf29ce484222325U;

struct KeyHash {
  std::size_t operator()(const Key& key) const {
    using schemas::NameHash;
    constexpr std::uint64_t kSpread = 0x9E3779B97F4A7C15;
    const std::uint64_t both = NameHash(key.group) * kSpread + NameHash(key.code);
    return both * kSpread + NameHash(key.qualifier);
  }
};

std::string CodingsJson(const std::vector<Coding>& codings) {
  schemas::JsonWriter json;
  json.BeginArray();
  for (const Coding& coding : codings) {
    json.BeginObject();
    json.Member("system", coding.system);
    json.Member("code", coding.code);
    if (!coding.display.empty()) json.Member("display", coding.display);
    json.EndObject();
  }
  json.EndArray();
  return json.Take();
}

Concept Finish(std::string text, std::vector<Coding> codings, bool mapped) {
  Concept made;
  made.text = std::move(text);
  made.coding_json = CodingsJson(codings);
  schemas::JsonWriter json;
  json.BeginObject();
  json.MemberRaw("coding", made.coding_json);
  json.Member("text", made.text);
  json.EndObject();
  made.concept_json = json.Take();
  made.codings = std::move(codings);
  made.mapped = mapped;
  return made;
}

/// What a concept is called together with its qualifier: "left forearm", "removal of line
/// (midline)".
std::string TextFor(const OwnConcept& own, std::string_view group, const OwnConcept* qualifier) {
  if (qualifier == nullptr) return own.display;
  if (group == "site") return qualifier->display + " " + own.display;
  return own.display + " (" + qualifier->display + ")";
}

}  // namespace

struct CodeMap::Tables {
  std::deque<std::string> names;  ///< what the views in the keys point to
  std::unordered_map<Key, Concept, KeyHash> concepts;
  std::unordered_map<std::string, std::string> displays;  ///< by code of ours
  std::vector<OwnCode> own_codes;                         ///< sorted
  std::vector<OwnCode> site_codes;
  std::uint64_t fingerprint = kSeed;

  std::string_view Keep(const std::string& name) { return names.emplace_back(name); }

  /// Gives the entry as it stands, for as long as the tables live.
  std::pair<const Key, Concept>& Add(const OwnConcept& own, const std::string& group,
                                     const OwnConcept* qualifier, const Layers& layers) {
    std::vector<Coding> codings;
    std::vector<std::string> also;
    const std::vector<Target> chosen =
        layers.Choose(own.code, qualifier != nullptr ? qualifier->code : std::string());
    for (const Target& target : chosen) {
      codings.push_back(target.coding);
      for (const Coding& other : target.also) also.push_back(CodingsJson({other}));
    }
    const bool mapped = !codings.empty();
    if (!mapped || chosen.front().rank > kSaysTheSameMax) {
      codings.push_back({std::string(kOurSystem), own.code, own.display});
    }
    Concept made = Finish(TextFor(own, group, qualifier), std::move(codings), mapped);
    made.also_json = std::move(also);
    fingerprint = Mix(Mix(Mix(fingerprint, group), made.text), made.coding_json);
    for (const auto& json : made.also_json) fingerprint = Mix(fingerprint, json);
    const Key key{Keep(group), Keep(own.code),
                  qualifier != nullptr ? Keep(qualifier->code) : std::string_view()};
    return *concepts.emplace(key, std::move(made)).first;
  }

  void AddAll(const Vocabulary& vocabulary, const Layers& layers) {
    const auto& all = vocabulary.concepts();
    for (std::size_t i = 0; i < all.size(); ++i) {
      for (const std::string& group : all[i].groups) {
        const auto& [key, what] = Add(all[i], group, nullptr, layers);
        if (i < vocabulary.ours()) own_codes.push_back({key.group, key.code, &what});
        if (i >= vocabulary.ours() && group != "site") {  // where it stands for its qualified forms
          site_codes.push_back({key.group, key.code, &what});
        }
        AddQualified(all[i], group, vocabulary, layers);
      }
      if (i < vocabulary.ours()) displays.emplace(all[i].code, all[i].display);
    }
    std::ranges::sort(own_codes, {},
                      [](const OwnCode& own) { return std::pair(own.group, own.code); });
  }

  void AddQualified(const OwnConcept& own, const std::string& group, const Vocabulary& vocabulary,
                    const Layers& layers) {
    for (const auto& [qualified, by] : kQualifiers) {
      if (group != qualified) continue;
      for (const OwnConcept& qualifier : vocabulary.concepts()) {
        if (std::ranges::count(qualifier.groups, by) > 0) Add(own, group, &qualifier, layers);
      }
    }
  }

  const Concept* Find(std::string_view group, std::string_view code,
                      std::string_view qualifier) const {
    auto found = concepts.find(Key{group, code, qualifier});
    if (found == concepts.end() && !qualifier.empty()) found = concepts.find(Key{group, code, ""});
    if (found == concepts.end()) found = concepts.find(Key{kAnyGroup, code, ""});
    return found != concepts.end() ? &found->second : nullptr;
  }
};

Result<CodeMap> CodeMap::Load(const File& code_system, std::span<const File> maps,
                              const std::optional<File>& site) {
  auto own = ReadCodeSystem(code_system);
  if (!own) return own.error();
  Vocabulary vocabulary(std::move(*own));
  Layers layers;
  for (const File& file : maps) {
    auto read = ReadConceptMap(file);
    if (!read) return read.error();
    if (const auto checked = vocabulary.Check(file, *read); !checked) return checked.error();
    layers.LayOver(std::move(*read));
  }
  if (site) {
    auto read = ReadConceptMap(*site);
    if (!read) return read.error();
    if (const auto checked = vocabulary.CheckSite(*site, *read); !checked) return checked.error();
    layers.LayOver(std::move(*read));
  }
  auto tables = std::make_unique<Tables>();
  tables->AddAll(vocabulary, layers);
  return CodeMap(std::move(tables));
}

Result<CodeMap> CodeMap::LoadBundled(Edition edition, const std::optional<File>& site) {
  const auto bundled = [](std::string_view name) {
    for (const File& file : BundledFiles()) {
      if (file.first == name) return file;
    }
    return File{name, ""};
  };
  std::vector<File> maps = {bundled("free.conceptmap.json")};
  if (edition == Edition::kLicensed) maps.push_back(bundled("licensed.conceptmap.json"));
  return Load(bundled("line-care.codesystem.json"), maps, site);
}

Found CodeMap::Find(std::string_view group, std::string_view code,
                    std::string_view qualifier) const {
  CHECK(!code.empty());
  if (const Concept* known = tables_->Find(group, code, qualifier)) return Found(known);
  const auto display = tables_->displays.find(std::string(code));  // known, but of another group
  const bool elsewhere = display != tables_->displays.end();
  Coding own{std::string(kOurSystem), std::string(code), elsewhere ? display->second : ""};
  std::string text = elsewhere ? display->second : Words(code);
  if (group == "site" && !qualifier.empty()) text = Words(qualifier) + " " + text;
  return Found(Finish(std::move(text), {std::move(own)}, false));
}

bool CodeMap::Knows(std::string_view group, std::string_view code) const {
  return tables_->Find(group, code, "") != nullptr;
}

std::vector<OwnCode> CodeMap::OwnCodes() const { return tables_->own_codes; }

const std::vector<OwnCode>& CodeMap::SiteCodes() const { return tables_->site_codes; }

std::uint64_t CodeMap::fingerprint() const { return tables_->fingerprint; }

CodeMap::CodeMap(std::unique_ptr<Tables> tables) : tables_(std::move(tables)) {}
CodeMap::CodeMap(CodeMap&&) noexcept = default;
CodeMap& CodeMap::operator=(CodeMap&&) noexcept = default;
CodeMap::~CodeMap() = default;

}  // namespace dwell::codes
