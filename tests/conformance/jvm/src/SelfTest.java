import com.fasterxml.jackson.databind.JsonNode;
import com.fasterxml.jackson.databind.node.ObjectNode;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.Collections;
import java.util.HashSet;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import java.util.Set;
import java.util.TreeMap;
import java.util.function.Consumer;
import org.hl7.fhir.utilities.validation.ValidationMessage;

/** Proves that the validator finds what is wrong and leaves alone what is right; see `selftest`. */
public final class SelfTest {
  /** What is done to a sound resource of any type. */
  private static final Map<String, Consumer<ObjectNode>> DEFECTS = new LinkedHashMap<>();

  static {
    DEFECTS.put("an element that does not exist", r -> r.put("wing", "left"));
    DEFECTS.put("an identifier that is a text", r -> r.put("identifier", "L-7"));
    DEFECTS.put("an array with nothing in it", r -> r.putArray("note"));
    DEFECTS.put("an id with a blank", r -> r.put("id", "two words"));
    DEFECTS.put("a language that is a number", r -> r.put("language", 7));
    DEFECTS.put("an extension without a value (ext-1)",
        r -> r.withArray("extension").addObject().put("url", "https://ward.example/x"));
    DEFECTS.put("an extension without a url",
        r -> r.withArray("extension").addObject().put("valueString", "x"));
    DEFECTS.put("a script in the narrative (txt-1)", r -> narrative(r, "<p>x<script>y()</script></p>"));
    DEFECTS.put("an empty narrative (txt-2)", r -> narrative(r, "<p> </p>"));
    DEFECTS.put("a narrative of another namespace",
        r -> r.putObject("text").put("status", "generated").put("div", "<div>x</div>"));
    DEFECTS.put("a narrative status that does not exist", r -> r.withObject("/text").put("status", "made"));
    DEFECTS.put("a contained resource that nothing refers to (dom-3)",
        r -> r.putArray("contained").addObject().put("resourceType", "Patient").put("id", "p"));
    DEFECTS.put("a profile that nobody knows",
        r -> r.withObject("/meta").putArray("profile").add("https://ward.example/StructureDefinition/x"));
    DEFECTS.put("lastUpdated on a day that does not exist",
        r -> r.withObject("/meta").put("lastUpdated", "2031-02-30T10:00:00Z"));
  }

  private final Path here;
  private final List<Path> packages = new ArrayList<>();
  private final Map<String, String> blind = new TreeMap<>();  // case of ../cases.ndjson -> reason
  private int passed = 0;
  private int failed = 0;

  private SelfTest(Path here) throws Exception {
    this.here = here;
    for (JsonNode row : Judged.JSON.readTree(here.resolve("differences.json").toFile())) {
      blind.put(row.path("case").asText(), row.path("reason").asText());
    }
  }

  /** Words: the folder of this test, then archives of FHIR packages. */
  public static void main(String[] words) throws Exception {
    SelfTest test = new SelfTest(Path.of(words[0]));
    for (int i = 1; i < words.length; i++) test.packages.add(Path.of(words[i]));
    Validator r4 = new Validator("4.0.1", test.packages);
    test.cases(r4);
    Path golden = test.here.resolve("../../golden");
    test.defects("4.0.1", r4, golden.resolve("insertion"));
    test.defects("4.3.0", new Validator("4.3.0", List.of()), golden.resolve("insertion"));
    test.defects("5.0.0", new Validator("5.0.0", List.of()), golden.resolve("r5"));
    test.table();
    System.out.println(test.passed + " passed, " + test.failed + " failed");
    System.exit(test.failed == 0 ? 0 : 1);
  }

  private static void narrative(ObjectNode resource, String inner) {
    resource
        .putObject("text")
        .put("status", "generated")
        .put("div", "<div xmlns=\"http://www.w3.org/1999/xhtml\">" + inner + "</div>");
  }

  private void check(boolean isRight, String text) {
    if (isRight) {
      passed++;
    } else {
      failed++;
      System.out.println("wrong: " + text);
    }
  }

  private static List<String> errors(Validator validator, Judged resource) {
    return validator.judge(resource).stream()
        .filter(ValidationMessage::isError)
        .map(message -> message.getLocation() + ": " + message.getMessage())
        .toList();
  }

  /** The known good and known bad resources that the other judges are tried with too. */
  private void cases(Validator validator) throws Exception {
    int refused = 0;
    Set<String> differences = new HashSet<>();
    for (String line : Files.readAllLines(here.resolve("../cases.ndjson"))) {
      JsonNode one = Judged.JSON.readTree(line);
      String name = one.path("id").asText();
      JsonNode resource = one.path("resource");
      List<String> found =
          errors(validator, new Judged(name, resource.path("resourceType").asText(), resource.toString()));
      boolean isSound = one.path("judges").asText().equals("accept");
      boolean agrees = isSound == found.isEmpty();
      if (!agrees) differences.add(name);
      if (!isSound && agrees) refused++;
      check(agrees != blind.containsKey(name),
          name + (isSound ? " is sound, but: " + found : " has a defect that is not found")
              + (agrees ? ", yet is listed as a difference" : ""));
    }
    System.out.println("of the cases of all judges: " + refused + " defects found, "
        + differences.size() + " differences with a reason");
    check(differences.equals(blind.keySet()), "differences.json lists a case that is not there");
  }

  /** The first resource of each type in golden pairs, sound as it is, and with each defect. */
  private void defects(String release, Validator validator, Path folder) throws Exception {
    Map<String, Judged> sound = new TreeMap<>();
    for (Judged one : Judged.read(folder)) {
      if (one.place().contains("out.json entry")) sound.putIfAbsent(one.type(), one);
    }
    check(sound.size() >= 6, "golden pairs of fewer than six types in " + folder);
    int found = 0;
    for (Judged one : sound.values()) {
      check(errors(validator, one).isEmpty(), release + " " + one.type() + " is sound: " + errors(validator, one));
      for (var defect : DEFECTS.entrySet()) {
        ObjectNode resource = (ObjectNode) Judged.JSON.readTree(one.text());
        defect.getValue().accept(resource);
        boolean isFound =
            !errors(validator, new Judged(defect.getKey(), one.type(), resource.toString())).isEmpty();
        check(isFound, release + " " + one.type() + " with " + defect.getKey() + " passes");
        if (isFound) found++;
      }
    }
    System.out.println(release + ": " + found + " defects of " + sound.keySet() + " found");
  }

  /** The table of warnings: what has no row is not excused, and a row that excuses nothing is told. */
  private void table() throws Exception {
    Path file = Files.createTempFile("warnings", ".json");
    Files.writeString(file, "{\"warnings\":[{\"pattern\":\"^a b\",\"releases\":[\"4.0.1\"],\"reason\":\"r\"},"
        + "{\"pattern\":\"other\",\"releases\":[\"5.0.0\"],\"reason\":\"s\"}]}");
    WarningTable table = new WarningTable(List.of(file), "4.0.1");
    check(table.unused().equals(Collections.singletonList("^a b")), "a row that excused nothing is not told");
    check(!table.excuses("c a b") && !table.excuses("other"), "a warning without a row is excused");
    check(table.excuses("a b c") && table.unused().isEmpty(), "a row does not excuse");
    check(table.byReason().equals(Map.of("r", 1)), "excused warnings are miscounted");
    Files.delete(file);
  }
}
