#include "daemon/command/explain_text.h"

#include <algorithm>

#include "schemas/json/writer.h"

namespace dwell::command {
namespace {

using explain::Becomes;
using explain::Row;
using Rows = std::vector<Row>;

constexpr std::size_t kWidth = 100;        // columns of a page that can be read and printed
constexpr std::size_t kRolesNamedMax = 3;  // more of them go by their types
constexpr std::size_t kResourceColumns = 32;
constexpr std::size_t kValueColumnsMin = 24;

void WriteCodings(schemas::JsonWriter& json, const char* name,
                  const std::vector<codes::Coding>& codings) {
  if (codings.empty()) return;
  json.Name(std::string_view(name));
  json.BeginArray();
  for (const codes::Coding& coding : codings) {
    json.BeginObject();
    json.Member("system", coding.system);
    if (!coding.code.empty()) json.Member("code", coding.code);
    if (!coding.display.empty()) json.Member("display", coding.display);
    json.EndObject();
  }
  json.EndArray();
}

void WriteValues(schemas::JsonWriter& json, const std::vector<Becomes>& values) {
  if (values.empty()) return;
  json.Name(std::string_view("values"));
  json.BeginArray();
  for (const Becomes& becomes : values) {
    json.BeginObject();
    if (!becomes.value.empty()) json.Member("value", becomes.value);
    if (!becomes.words.empty()) json.Member("text", becomes.words);
    WriteCodings(json, "coding", becomes.codings);
    if (becomes.IsOwnOnly()) json.MemberBool("own_only", true);
    json.EndObject();
  }
  json.EndArray();
}

/// "sct 95388000 Injection site pain": a system goes by the last part of its canonical.
std::string InWords(const std::vector<codes::Coding>& codings) {
  std::string words;
  for (const codes::Coding& coding : codings) {
    if (!words.empty()) words += " + ";
    words += coding.system.substr(coding.system.find_last_of("/#") + 1);
    words += " " + (coding.code.empty() ? "(the value itself)" : coding.code);
    if (!coding.display.empty() && coding.display != coding.code) words += " " + coding.display;
  }
  return words;
}

std::string BecomesInWords(const Becomes& becomes) {
  if (becomes.codings.empty()) return becomes.words;
  if (becomes.IsOwnOnly()) return "our code and text only: \"" + becomes.words + "\"";
  return InWords(becomes.codings);
}

/// One a line but for the last, which the element follows.
std::string ResourcesInWords(const Rows& rows) {
  std::vector<std::string> names;
  for (const Row& row : rows) {
    const bool with_role = rows.size() <= kRolesNamedMax && !row.role.empty();
    std::string name = with_role ? row.type + " " + row.role : row.type;
    if (std::ranges::count(names, name) == 0) names.push_back(std::move(name));
  }
  std::string words;
  std::size_t column = 0;
  for (std::size_t i = 0; i < names.size(); ++i) {
    const std::string name = names[i] + (i + 1 < names.size() ? "," : "");
    const bool fits = column + 1 + name.size() <= kResourceColumns;
    if (column > 0) words += fits ? " " : "\n  ";
    column = column > 0 && fits ? column + 1 + name.size() : name.size();
    words += name;
  }
  return "  " + words + std::string(std::max(kResourceColumns, column) - column + 2, ' ');
}

std::string ElementInWords(const Row& row) {
  if (row.element.empty()) return "whether there is one";
  if (row.element == "text") return "narrative only";
  return row.element + (row.narrative ? " *" : "");
}

/// `text` from column `indent` on, further lines from column `hang` on; broken between words.
std::string Wrapped(std::size_t indent, std::size_t hang, const std::string& text) {
  std::string page(indent, ' ');
  std::size_t column = indent;
  for (std::size_t begin = 0; begin < text.size();) {
    const std::size_t end = std::min(text.find(' ', begin), text.size());
    const std::size_t length = end - begin;
    if (column > hang && column + length > kWidth) {
      while (page.ends_with(' ')) page.pop_back();
      page += "\n" + std::string(hang, ' ');
      column = hang;
    }
    page.append(text, begin, length);
    column += length;
    if (end < text.size() && column < kWidth) {
      page += ' ';
      ++column;
    }
    begin = end + 1;
  }
  while (page.ends_with(' ')) page.pop_back();
  return page + "\n";
}

/// `left` filled up with blanks to `columns`, and two more.
std::string Padded(std::string left, std::size_t columns) {
  left.resize(std::max(left.size(), columns) + 2, ' ');
  return left;
}

bool SharesLine(const Row& a, const Row& b) {
  return a.element == b.element && a.about == b.about && a.values == b.values;
}

/// The rows of one field that share a line, in the order of the first of each.
std::vector<Rows> LinesOf(const Rows& rows) {
  std::vector<Rows> lines;
  for (const Row& row : rows) {
    const auto same = std::ranges::find_if(
        lines, [&](const Rows& line) { return SharesLine(line.front(), row); });
    if (same != lines.end()) {
      same->push_back(row);
    } else {
      lines.push_back({row});
    }
  }
  return lines;
}

std::string ValuesInWords(const std::vector<Becomes>& values) {
  std::size_t columns = kValueColumnsMin;
  for (const Becomes& becomes : values) columns = std::max(columns, becomes.value.size());
  std::string text;
  for (const Becomes& becomes : values) {
    const std::string value = becomes.value.empty() ? "coded as" : becomes.value;
    text += Wrapped(6, 6 + columns + 2, Padded(value, columns) + BecomesInWords(becomes));
  }
  return text;
}

std::string FieldInWords(const Rows& rows) {
  std::string text = rows.front().field + "\n";
  if (rows.front().type.empty()) return text + Wrapped(2, 4, rows.front().why);
  const std::vector<Rows> lines = LinesOf(rows);
  for (std::size_t i = 0; i < lines.size(); ++i) {
    const Row& row = lines[i].front();
    text += ResourcesInWords(lines[i]) + ElementInWords(row) + "\n";
    if (!row.about.empty()) text += Wrapped(6, 8, "recorded as " + InWords(row.about));
    const bool same_follow = i + 1 < lines.size() && lines[i + 1].front().values == row.values;
    if (!same_follow) text += ValuesInWords(row.values);
  }
  return text;
}

}  // namespace

std::string ExplainedAsJson(const Rows& rows) {
  std::string lines;
  for (const Row& row : rows) {
    schemas::JsonWriter json;
    json.BeginObject();
    json.Member("field", row.field);
    if (!row.type.empty()) json.Member("resource", row.type);
    if (!row.role.empty()) json.Member("role", row.role);
    if (!row.element.empty()) json.Member("element", row.element);
    WriteCodings(json, "code", row.about);
    WriteValues(json, row.values);
    if (!row.type.empty()) json.MemberBool("narrative", row.narrative);
    if (!row.why.empty()) json.Member("why", row.why);
    json.EndObject();
    lines += json.Take() + "\n";
  }
  return lines;
}

std::string ExplainedAsText(const Rows& rows) {
  std::string text = "* the narrative tells it too. The event itself is kept whole.\n";
  for (std::size_t i = 0; i < rows.size();) {
    Rows field;
    for (; i < rows.size() && (field.empty() || field.front().field == rows[i].field); ++i) {
      field.push_back(rows[i]);
    }
    text += FieldInWords(field);
  }
  return text;
}

}  // namespace dwell::command
