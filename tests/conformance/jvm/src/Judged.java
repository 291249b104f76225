import com.fasterxml.jackson.core.JsonProcessingException;
import com.fasterxml.jackson.databind.DeserializationFeature;
import com.fasterxml.jackson.databind.JsonNode;
import com.fasterxml.jackson.databind.cfg.JsonNodeFeature;
import com.fasterxml.jackson.databind.json.JsonMapper;
import java.io.IOException;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.List;
import java.util.stream.Stream;

/** One resource to judge: where it stands, its type, and its text as it was written. */
record Judged(String place, String type, String text) {
  /** Numbers keep their digits: 2.50 is not 2.5. */
  static final JsonMapper JSON =
      JsonMapper.builder()
          .enable(DeserializationFeature.USE_BIG_DECIMAL_FOR_FLOATS)
          .disable(JsonNodeFeature.STRIP_TRAILING_BIGDECIMAL_ZEROES)
          .build();

  /**
   * Everything in a file (.ndjson: a resource a line; .json: one) or below a folder. A Bundle is
   * judged as a whole, and each resource in it also by itself, as a server will store it.
   */
  static List<Judged> read(Path place) throws IOException {
    List<Path> files;
    try (Stream<Path> below = Files.walk(place)) {
      files =
          below
              .filter(file -> file.toString().matches(".*\\.(nd)?json") && Files.isRegularFile(file))
              .sorted()
              .toList();
    }
    List<Judged> found = new ArrayList<>();
    for (Path file : files) {
      String text = Files.readString(file);
      List<String> texts = file.toString().endsWith(".json") ? List.of(text) : text.lines().toList();
      for (int i = 0; i < texts.size(); i++) {
        add(found, texts.size() == 1 ? file.toString() : file + ":" + (i + 1), texts.get(i));
      }
    }
    return found;
  }

  private static void add(List<Judged> found, String place, String text)
      throws JsonProcessingException {
    JsonNode resource = JSON.readTree(text);
    found.add(new Judged(place, resource.path("resourceType").asText(), text));
    int entry = 0;
    for (JsonNode held : resource.path("entry")) {
      JsonNode inside = held.path("resource");
      if (inside.isObject()) add(found, place + " entry " + entry, JSON.writeValueAsString(inside));
      entry++;
    }
  }
}
