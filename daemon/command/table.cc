#include "daemon/command/table.h"

#include <algorithm>

namespace dwell::command {
namespace {

std::optional<schemas::Value> Step(schemas::Value from, std::string_view name) {
  if (from.is_object()) return from.Find(name);
  if (!from.is_array()) return std::nullopt;
  std::size_t index = 0;
  for (const schemas::Value child : from) {
    if (std::to_string(index++) == name) return child;
  }
  return std::nullopt;
}

/// Columns of UTF-8 text, good enough for ids, wards and messages: every code point is one.
std::size_t Width(std::string_view text) {
  return static_cast<std::size_t>(std::count_if(text.begin(), text.end(), [](char c) {
    return (static_cast<unsigned char>(c) & 0xC0) != 0x80;
  }));
}

void Pad(std::string& line, std::string_view text, std::size_t width) {
  line += text;
  line.append(width - Width(text) + 2, ' ');
}

void EndLine(std::string& out, std::string line) {
  line.erase(line.find_last_not_of(' ') + 1);
  out += line + "\n";
}

}  // namespace

std::string TextAt(schemas::Value row, std::string_view pointer) {
  std::optional<schemas::Value> at = row;
  while (at && !pointer.empty()) {
    pointer.remove_prefix(1);
    const std::string_view name = pointer.substr(0, pointer.find('/'));
    pointer.remove_prefix(name.size());
    at = Step(*at, name);
  }
  if (!at) return "-";
  std::string text = "-";
  if (at->is_string()) text = at->AsString();
  if (at->is_number()) text = at->NumberText();
  if (at->is_bool()) text = at->AsBool() ? "yes" : "no";
  for (char& c : text) {
    if ((c >= 0 && c < ' ') || c == 0x7f) c = '?';
  }
  return text.empty() ? "-" : text;
}

std::optional<Instant> InstantAt(schemas::Value row, std::string_view pointer) {
  const auto moment = ReadMoment(TextAt(row, pointer));
  return moment ? std::optional(moment->instant) : std::nullopt;
}

Table Table::OfCells(const std::vector<std::string_view>& titles) {
  std::vector<Column> columns;
  for (const std::string_view title : titles) columns.push_back({title, {}});
  return Table(std::move(columns));
}

std::string CellOf(const Column& column, schemas::Value row) {
  std::string cell;
  if (column.words != nullptr) cell = column.words(row);
  std::string_view pointers = column.pointer;
  while (!pointers.empty()) {
    const std::string_view pointer = pointers.substr(0, pointers.find(' '));
    pointers.remove_prefix(std::min(pointers.size(), pointer.size() + 1));
    const std::string text = TextAt(row, pointer);
    if (text == "-" && !cell.empty()) continue;
    if (!cell.empty()) cell += ' ';
    cell += text;
  }
  return cell;
}

void Table::Add(schemas::Value row) {
  std::vector<std::string> cells;
  cells.reserve(columns_.size());
  for (const Column& column : columns_) cells.push_back(CellOf(column, row));
  Add(std::move(cells));
}

std::string Table::Print() {
  const bool first = widths_.empty();
  widths_.resize(columns_.size());
  for (std::size_t i = 0; i < columns_.size(); ++i) {
    widths_[i] = std::max(widths_[i], Width(columns_[i].title));
    for (const auto& row : rows_) widths_[i] = std::max(widths_[i], Width(row[i]));
  }
  std::string out;
  if (first) {
    std::string titles;
    for (std::size_t i = 0; i < columns_.size(); ++i) Pad(titles, columns_[i].title, widths_[i]);
    EndLine(out, std::move(titles));
  }
  for (const auto& row : rows_) {
    std::string line;
    for (std::size_t i = 0; i < row.size(); ++i) Pad(line, row[i], widths_[i]);
    EndLine(out, std::move(line));
  }
  rows_.clear();
  return out;
}

std::string ShortTextAt(schemas::Value row, std::string_view pointer) {
  constexpr std::size_t kShownBytesMax = 120;  // narratives are longer; --json has them whole
  std::string text = TextAt(row, pointer);
  if (text.size() <= kShownBytesMax) return text;
  std::size_t end = kShownBytesMax;
  while (end > 0 && (static_cast<unsigned char>(text[end]) & 0xC0) == 0x80) --end;
  return text.substr(0, end) + "...";
}

}  // namespace dwell::command
