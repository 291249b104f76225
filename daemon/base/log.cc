#include "daemon/base/log.h"

#include <unistd.h>

#include <cstdlib>

#include "daemon/base/clock.h"
#include "schemas/base/check.h"
#include "schemas/json/writer.h"

namespace dwell::log {
namespace {

struct LevelRow {
  Level level;
  std::string_view name;
  std::string_view priority;
};
constexpr LevelRow kLevels[] = {
    {Level::kError, "error", "<3>"},
    {Level::kWarning, "warning", "<4>"},
    {Level::kInfo, "info", "<6>"},
};

const LevelRow& RowOf(Level level) {
  for (const LevelRow& row : kLevels) {
    if (row.level == level) return row;
  }
  CHECK(false && "a level without a name");
  return kLevels[0];
}

std::string Quoted(std::string_view text) {
  schemas::JsonWriter writer;
  writer.String(text);
  return writer.Take();
}

}  // namespace

void Field::Append(Literal name, std::string_view json_value) {
  if (!json_.empty()) json_ += ',';
  json_ += Quoted(name.text());
  json_ += ':';
  json_ += json_value;
}

Field::Field(Literal name, Literal text) { Append(name, Quoted(text.text())); }
Field::Field(Literal name, Instant instant) { Append(name, Quoted(FormatInstant(instant))); }
Field::Field(Literal name, const Error& error) {
  Append(name, Quoted(error.message()));
  Append("kind", Quoted(LogName(error.kind()).text()));
}

Literal LogName(ErrorKind kind) {
  switch (kind) {
    case ErrorKind::kUsage:
      return "usage";
    case ErrorKind::kConfig:
      return "config";
    case ErrorKind::kData:
      return "data";
    case ErrorKind::kForeign:
      return "foreign";
    case ErrorKind::kCorrupt:
      return "corrupt";
    case ErrorKind::kBusy:
      return "busy";
    case ErrorKind::kFull:
      return "full";
    case ErrorKind::kIo:
      return "io";
    case ErrorKind::kNetwork:
      return "network";
    case ErrorKind::kTls:
      return "tls";
  }
  CHECK(false && "a kind of error without a name");
  return "";
}

std::string Line(Level level, Literal event, std::initializer_list<Field> fields, Instant now,
                 bool journal) {
  const LevelRow& row = RowOf(level);
  std::string line(journal ? row.priority : std::string_view());
  line += "{\"at\":" + Quoted(FormatInstant(now)) + ",\"level\":" + Quoted(row.name) +
          ",\"event\":" + Quoted(event.text());
  for (const Field& field : fields) {
    line += ',';
    line += field.json();
  }
  line += "}\n";
  return line;
}

void Write(Level level, Literal event, std::initializer_list<Field> fields) {
  static const bool journal = std::getenv("JOURNAL_STREAM") != nullptr;
  const std::string line = Line(level, event, fields, base::SystemClock().Now(), journal);
  // One write, so that lines of several threads do not mix. A log that cannot be written is no
  // reason to stop carrying events.
  static_cast<void>(::write(STDERR_FILENO, line.data(), line.size()) < 0);
}

}  // namespace dwell::log
