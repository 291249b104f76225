import com.fasterxml.jackson.databind.JsonNode;
import java.io.IOException;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.List;
import java.util.Map;
import java.util.TreeMap;
import java.util.regex.Pattern;

/** Which warnings stand, and why: each row has a pattern, a reason, and the releases it is for. */
final class WarningTable {
  private record Row(Pattern pattern, String reason, int[] uses) {}

  private final List<Row> rows = new ArrayList<>();

  WarningTable(List<Path> files, String release) throws IOException {
    for (Path file : files) read(Judged.JSON.readTree(file.toFile()), release);
  }

  private void read(JsonNode table, String release) {
    for (JsonNode row : table.path("warnings")) {
      boolean isForUs = false;
      for (JsonNode one : row.path("releases")) isForUs |= one.asText().equals(release);
      if (!isForUs) continue;
      rows.add(
          new Row(
              Pattern.compile(row.path("pattern").asText()), row.path("reason").asText(), new int[1]));
    }
  }

  /** Counts a warning under the first row whose pattern is found in it; false when there is none. */
  boolean excuses(String warning) {
    for (Row row : rows) {
      if (!row.pattern.matcher(warning).find()) continue;
      row.uses[0]++;
      return true;
    }
    return false;
  }

  /** Reason -> how many warnings it stands for. */
  Map<String, Integer> byReason() {
    Map<String, Integer> counts = new TreeMap<>();
    for (Row row : rows) if (row.uses[0] > 0) counts.merge(row.reason, row.uses[0], Integer::sum);
    return counts;
  }

  /** Patterns that excused nothing. */
  List<String> unused() {
    return rows.stream().filter(row -> row.uses[0] == 0).map(row -> row.pattern.pattern()).toList();
  }
}
