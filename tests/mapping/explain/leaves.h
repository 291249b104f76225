// The leaves of the event contract, read off the schema files by a walk of the tests' own.
#pragma once

#include <fstream>
#include <set>
#include <sstream>
#include <string>

#include "schemas/base/check.h"
#include "schemas/json/document.h"

namespace dwell::explain {

class Leaves {
 public:
  /// JSON Pointers into that kind of event, 0 for the entries of an array.
  static std::set<std::string> Of(const std::string& kind) {
    Leaves leaves(kind);
    leaves.Walk(leaves.own_.root(), leaves.own_, "");
    return std::move(leaves.found_);
  }

  static std::string Text(const std::string& path) {
    std::ifstream file(std::string(DWELL_SOURCE_DIR) + "/" + path);
    CHECK(file.good());
    std::ostringstream text;
    text << file.rdbuf();
    return text.str();
  }

 private:
  explicit Leaves(const std::string& kind) : own_(Load(kind)), common_(Load("common")) {}

  static schemas::Document Load(const std::string& name) {
    auto document = schemas::Document::Parse(Text("schemas/event/" + name + ".schema.json"));
    CHECK(document.has_value());
    return std::move(*document);
  }

  void Walk(schemas::Value schema, const schemas::Document& file, const std::string& pointer) {
    if (const auto reference = schema.Find("$ref")) {
      const std::string target(reference->AsString());
      const bool own = target.starts_with("#");
      const schemas::Document& where = own ? file : common_;
      const auto found = where.At(target.substr(target.find('#') + 1));
      CHECK(found.has_value());
      Walk(*found, where, pointer);
    } else if (const auto members = schema.Find("properties")) {
      for (const schemas::Value member : *members) {
        Walk(member, file, pointer + "/" + std::string(member.name()));
      }
    } else if (const auto items = schema.Find("items")) {
      Walk(*items, file, pointer + "/0");
    } else {
      found_.insert(pointer);
    }
  }

  schemas::Document own_;
  schemas::Document common_;
  std::set<std::string> found_;
};

}  // namespace dwell::explain
