// Listings for a person: columns as wide as they need to be. Pure.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "schemas/json/document.h"

namespace dwell::command {

struct Column {
  std::string_view title;
  /// JSON Pointer (RFC 6901) into the row; several, by blanks, are joined.
  std::string_view pointer;
  /// Makes the cell from the row where pointers do not suffice; then `pointer` is not used.
  std::string (*words)(schemas::Value row) = nullptr;
};

/// Collects rows, then prints them.
class Table {
 public:
  explicit Table(std::vector<Column> columns) : columns_(std::move(columns)) {}

  /// `row` is a JSON object; what it does not have is shown as "-".
  void Add(schemas::Value row);
  std::size_t size() const { return rows_.size(); }
  /// Titles and rows, each with its line end.
  std::string Print() const;

 private:
  std::vector<Column> columns_;
  std::vector<std::vector<std::string>> rows_;
};

/// The text of the value at `pointer`, "-" when there is none or it is null. Control characters,
/// which could steer a terminal, become "?".
std::string TextAt(schemas::Value row, std::string_view pointer);

/// The same, cut (between characters) where it is too long for the eye.
std::string ShortTextAt(schemas::Value row, std::string_view pointer);

}  // namespace dwell::command
