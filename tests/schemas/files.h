// Test files, and violations as text.
#pragma once

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <string>
#include <utility>
#include <vector>

#include "schemas/json/document.h"
#include "schemas/json/writer.h"
#include "schemas/schema.h"

namespace dwell::schemas {

inline std::string ReadFile(const std::filesystem::path& path) {
  std::ifstream file(path, std::ios::binary);
  std::ostringstream text;
  text << file.rdbuf();
  return text.str();
}

/// Name without extension, and text, of every JSON file of a folder of this project, by name.
inline std::vector<std::pair<std::string, std::string>> ReadFolder(const std::string& folder) {
  std::vector<std::pair<std::string, std::string>> files;
  for (const auto& entry :
       std::filesystem::directory_iterator(std::string(DWELL_SOURCE_DIR "/") + folder)) {
    if (entry.path().extension() != ".json") continue;
    files.emplace_back(entry.path().stem().string(), ReadFile(entry.path()));
  }
  std::sort(files.begin(), files.end());
  return files;
}

inline void WriteJson(Value value, JsonWriter* out) {
  switch (value.kind()) {
    case Kind::kNull:
      return out->Null();
    case Kind::kBool:
      return out->Bool(value.AsBool());
    case Kind::kNumber:
      return out->Raw(value.NumberText());
    case Kind::kString:
      return out->String(value.AsString());
    case Kind::kArray:
      out->BeginArray();
      for (Value child : value) WriteJson(child, out);
      return out->EndArray();
    case Kind::kObject:
      out->BeginObject();
      for (Value child : value) {
        out->Name(child.name());
        WriteJson(child, out);
      }
      return out->EndObject();
  }
}

/// A value as JSON text.
inline std::string WriteJson(Value value) {
  JsonWriter writer;
  WriteJson(value, &writer);
  return writer.Take();
}

/// "pointer rule (expected)" of each violation, one a line.
inline std::string Describe(const std::vector<Violation>& violations) {
  std::string text;
  for (const Violation& violation : violations) {
    text += violation.pointer + " " + violation.rule + " (" + violation.expected + ")\n";
  }
  return text;
}

}  // namespace dwell::schemas
