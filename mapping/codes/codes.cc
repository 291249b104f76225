#include "mapping/codes/codes.h"

#include <algorithm>
#include <deque>
#include <map>
#include <unordered_map>

#include "mapping/codes/tables.h"
#include "schemas/base/check.h"
#include "schemas/json/name.h"
#include "schemas/json/writer.h"

namespace dwell::codes {
namespace {

/// Which groups have a finer form, and by which group's codes: body site by side, procedure by
/// line.
constexpr std::pair<std::string_view, std::string_view> kQualifiers[] = {
    {"site", "side"}, {"procedure", "line-kind"}};

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

std::string Words(std::string_view code) {
  std::string words(code);
  std::replace(words.begin(), words.end(), '-', ' ');
  return words;
}

/// What a concept is called together with its qualifier: "left forearm", "removal of line
/// (midline)".
std::string TextFor(const OwnConcept& own, std::string_view group, const OwnConcept* qualifier) {
  if (qualifier == nullptr) return own.display;
  if (group == "site") return qualifier->display + " " + own.display;
  return own.display + " (" + qualifier->display + ")";
}

/// By our code and the qualifier's: for each target system the target of the last map that has one.
using Targets = std::map<std::pair<std::string, std::string>, std::vector<Target>>;

void LayOver(Targets& targets, std::vector<Target> more) {
  for (Target& target : more) {
    auto& list = targets[{target.source, target.qualifier}];
    std::erase_if(list,
                  [&](const Target& old) { return old.coding.system == target.coding.system; });
    list.push_back(std::move(target));
  }
}

/// The targets for `code`: those for the qualifier, then the unqualified of the systems still
/// missing.
std::vector<Target> Choose(const Targets& targets, const std::string& code,
                           const OwnConcept* qualifier) {
  std::vector<Target> chosen;
  const auto take = [&](const std::string& by) {
    const auto found = targets.find({code, by});
    if (found == targets.end()) return;
    for (const Target& target : found->second) {
      const bool have = std::any_of(chosen.begin(), chosen.end(), [&](const Target& other) {
        return other.coding.system == target.coding.system;
      });
      if (!have) chosen.push_back(target);
    }
  };
  if (qualifier != nullptr) take(qualifier->code);
  take("");
  std::stable_sort(chosen.begin(), chosen.end(),
                   [](const Target& a, const Target& b) { return a.rank < b.rank; });
  return chosen;
}

}  // namespace

struct CodeMap::Tables {
  std::deque<std::string> names;  ///< what the views in the keys point to
  std::unordered_map<Key, Concept, KeyHash> concepts;
  std::unordered_map<std::string, std::string> displays;  ///< by code of ours
  std::uint64_t fingerprint = kSeed;

  std::string_view Keep(const std::string& name) { return names.emplace_back(name); }

  void Add(const OwnConcept& own, const std::string& group, const OwnConcept* qualifier,
           const Targets& targets) {
    std::vector<Coding> codings;
    std::vector<std::string> also;
    const std::vector<Target> chosen = Choose(targets, own.code, qualifier);
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
    concepts.emplace(key, std::move(made));
  }
};

Result<CodeMap> CodeMap::Load(File code_system, std::span<const File> maps) {
  const auto own = ReadCodeSystem(code_system);
  if (!own) return own.error();
  auto tables = std::make_unique<Tables>();
  for (const OwnConcept& each : *own) tables->displays.emplace(each.code, each.display);
  Targets targets;
  for (const File& file : maps) {
    auto read = ReadConceptMap(file);
    if (!read) return read.error();
    for (const Target& target : *read) {
      if (!tables->displays.contains(target.source)) {
        return Error(ErrorKind::kConfig, std::string(file.first) + ": \"" + target.source +
                                             "\" is no code of " + std::string(code_system.first));
      }
    }
    LayOver(targets, std::move(*read));
  }
  for (const OwnConcept& each : *own) {
    for (const std::string& group : each.groups) {
      tables->Add(each, group, nullptr, targets);
      for (const auto& [qualified, by] : kQualifiers) {
        if (group != qualified) continue;
        for (const OwnConcept& qualifier : *own) {
          if (std::count(qualifier.groups.begin(), qualifier.groups.end(), by) == 0) continue;
          tables->Add(each, group, &qualifier, targets);
        }
      }
    }
  }
  return CodeMap(std::move(tables));
}

Result<CodeMap> CodeMap::LoadBundled(Edition edition) {
  const auto bundled = [](std::string_view name) {
    for (const File& file : BundledFiles()) {
      if (file.first == name) return file;
    }
    return File{name, ""};
  };
  std::vector<File> maps = {bundled("free.conceptmap.json")};
  if (edition == Edition::kLicensed) maps.push_back(bundled("licensed.conceptmap.json"));
  return Load(bundled("line-care.codesystem.json"), maps);
}

Found CodeMap::Find(std::string_view group, std::string_view code,
                    std::string_view qualifier) const {
  CHECK(!code.empty());
  auto known = tables_->concepts.find(Key{group, code, qualifier});
  if (known == tables_->concepts.end() && !qualifier.empty()) {
    known = tables_->concepts.find(Key{group, code, ""});
  }
  if (known != tables_->concepts.end()) return Found(&known->second);
  const auto display = tables_->displays.find(std::string(code));  // known, but of another group
  const bool elsewhere = display != tables_->displays.end();
  Coding own{std::string(kOurSystem), std::string(code), elsewhere ? display->second : ""};
  std::string text = elsewhere ? display->second : Words(code);
  if (group == "site" && !qualifier.empty()) text = Words(qualifier) + " " + text;
  return Found(Finish(std::move(text), {std::move(own)}, false));
}

std::uint64_t CodeMap::fingerprint() const { return tables_->fingerprint; }

CodeMap::CodeMap(std::unique_ptr<Tables> tables) : tables_(std::move(tables)) {}
CodeMap::CodeMap(CodeMap&&) noexcept = default;
CodeMap& CodeMap::operator=(CodeMap&&) noexcept = default;
CodeMap::~CodeMap() = default;

}  // namespace dwell::codes
