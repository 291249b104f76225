// Listings for a person: columns as wide as they need to be. Pure.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "mapping/event/moment.h"
#include "schemas/json/document.h"

namespace dwell::command {

struct Column {
  std::string_view title;
  /// JSON Pointer (RFC 6901) into the row; several, by blanks, are joined.
  std::string_view pointer;
  /// Makes the cell from the row where pointers do not suffice; then `pointer` is not used.
  std::string (*words)(schemas::Value row) = nullptr;
};

/// The text of one cell.
std::string CellOf(const Column& column, schemas::Value row);

/// Collects rows and prints them, all at once or, where there may be a million, in portions.
class Table {
 public:
  explicit Table(std::vector<Column> columns) : columns_(std::move(columns)) {}
  /// For rows of cells.
  static Table OfCells(const std::vector<std::string_view>& titles);

  /// `row` is a JSON object; what it does not have is shown as "-".
  void Add(schemas::Value row);
  /// One cell for each column.
  void Add(std::vector<std::string> cells) { rows_.push_back(std::move(cells)); }
  /// Rows not printed yet.
  std::size_t size() const { return rows_.size(); }
  /// The rows not printed yet, each with its line end; the first time with titles. Columns never
  /// become narrower again.
  std::string Print();

 private:
  std::vector<Column> columns_;
  std::vector<std::vector<std::string>> rows_;
  std::vector<std::size_t> widths_;  // empty until the titles are printed
};

/// The text of the value at `pointer`, "-" when there is none or it is null. Control characters,
/// which could steer a terminal, become "?".
std::string TextAt(schemas::Value row, std::string_view pointer);

/// The same, cut (between characters) where it is too long for the eye.
std::string ShortTextAt(schemas::Value row, std::string_view pointer);

/// The instant at `pointer`; empty when there is none.
std::optional<Instant> InstantAt(schemas::Value row, std::string_view pointer);

}  // namespace dwell::command
