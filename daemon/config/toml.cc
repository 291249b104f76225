#include "daemon/config/toml.h"

#include <cerrno>
#include <charconv>
#include <cmath>
#include <cstring>
#include <fstream>
#include <sstream>

#include "schemas/base/check.h"
#include "schemas/json/writer.h"

#define TOML_EXCEPTIONS 0
#include <toml++/toml.h>

#include "daemon/base/limits.h"

namespace dwell::config {
namespace {

std::string EscapePointer(std::string_view name) {  // RFC 6901 section 3
  std::string out;
  for (const char c : name) {
    if (c == '~') {
      out += "~0";
    } else if (c == '/') {
      out += "~1";
    } else {
      out += c;
    }
  }
  return out;
}

template <class T>
std::string Printed(const T& value) {
  std::ostringstream out;
  out << value;
  return out.str();
}

/// Writes a TOML tree as JSON and remembers the lines.
class Converter {
 public:
  void Write(const toml::node& node, const std::string& pointer) {
    if (node.source().begin.line != 0) lines_[pointer] = node.source().begin.line;
    if (const auto* table = node.as_table()) return WriteTable(*table, pointer);
    if (const auto* array = node.as_array()) return WriteArray(*array, pointer);
    if (const auto* text = node.as_string()) return json_.String(text->get());
    if (const auto* number = node.as_integer()) return json_.Integer(number->get());
    if (const auto* truth = node.as_boolean()) return json_.Bool(truth->get());
    if (const auto* number = node.as_floating_point()) return WriteFloat(number->get());
    if (const auto* date = node.as_date()) return json_.String(Printed(date->get()));
    if (const auto* time = node.as_time()) return json_.String(Printed(time->get()));
    if (const auto* moment = node.as_date_time()) return json_.String(Printed(moment->get()));
    CHECK(false);  // there are no other kinds
  }

  std::string_view text() const { return json_.text(); }
  std::map<std::string, std::size_t> TakeLines() { return std::move(lines_); }

 private:
  void WriteTable(const toml::table& table, const std::string& pointer) {
    json_.BeginObject();
    for (const auto& [key, value] : table) {
      json_.Name(key.str());
      Write(value, pointer + "/" + EscapePointer(key.str()));
    }
    json_.EndObject();
  }

  void WriteArray(const toml::array& array, const std::string& pointer) {
    json_.BeginArray();
    std::size_t index = 0;
    for (const auto& value : array) Write(value, pointer + "/" + std::to_string(index++));
    json_.EndArray();
  }

  void WriteFloat(double number) {
    if (!std::isfinite(number)) return json_.String(Printed(number));  // JSON has no such number
    json_.Raw(Printed(number));
  }

  schemas::JsonWriter json_;
  std::map<std::string, std::size_t> lines_;
};

void Apply(const Override& override, toml::table& root) {
  if (root.get(override.section) == nullptr) root.insert(override.section, toml::table{});
  toml::table* const section = root.get(override.section)->as_table();
  if (section == nullptr) return;  // the schema will say that it is no table
  std::int64_t number = 0;
  const char* const end = override.text.data() + override.text.size();
  const auto read = std::from_chars(override.text.data(), end, number);
  if (override.type == Override::Type::kInteger && read.ec == std::errc() && read.ptr == end) {
    section->insert_or_assign(override.key, number);
  } else if (override.type == Override::Type::kBool &&
             (override.text == "true" || override.text == "false")) {
    section->insert_or_assign(override.key, override.text == "true");
  } else if (override.type == Override::Type::kTexts) {
    toml::array items;
    std::istringstream all(override.text);
    for (std::string item; std::getline(all, item, ';');) items.push_back(item);
    section->insert_or_assign(override.key, std::move(items));
  } else {
    section->insert_or_assign(override.key, override.text);
  }
}

}  // namespace

std::string FormatFinding(const Finding& finding) {
  std::string text = finding.file;
  if (finding.line != 0) text += ":" + std::to_string(finding.line);
  if (!finding.pointer.empty()) text += ": " + finding.pointer;
  return text + ": " + finding.expected;
}

std::size_t TomlDocument::LineOf(std::string_view pointer) const {
  while (true) {
    const auto found = lines.find(std::string(pointer));
    if (found != lines.end()) return found->second;
    if (pointer.empty()) return 0;
    pointer = pointer.substr(0, pointer.rfind('/'));
  }
}

Result<TomlDocument, Finding> ReadToml(const std::string& file, std::string_view text,
                                       const std::vector<Override>& overrides) {
  toml::parse_result parsed = toml::parse(text, file);
  if (!parsed) {
    const toml::parse_error& error = parsed.error();
    return Finding{file, error.source().begin.line, "",
                   "TOML: " + std::string(error.description())};
  }
  toml::table root = std::move(parsed).table();
  for (const Override& override : overrides) Apply(override, root);
  Converter converter;
  converter.Write(root, "");
  auto document = schemas::Document::Parse(converter.text());
  if (!document) {
    return Finding{file, 0, document.error().pointer, document.error().expected};
  }
  return TomlDocument{file, std::move(*document), converter.TakeLines()};
}

Result<std::string> ReadTextFile(const std::string& path) {
  errno = 0;
  std::ifstream in(path, std::ios::binary);
  std::string text;
  if (in) {
    std::ostringstream all;
    all << in.rdbuf();
    text = std::move(all).str();
  }
  if (!in) {
    const char* const reason = errno != 0 ? std::strerror(errno) : "cannot be read";
    return Error(ErrorKind::kConfig, path + ": " + reason);
  }
  if (text.size() > limits::kConfigBytesMax) {
    return Error(ErrorKind::kConfig, path + ": a file of at most 1 MiB expected");
  }
  return text;
}

}  // namespace dwell::config
