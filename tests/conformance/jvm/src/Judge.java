import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import java.util.TreeMap;
import java.util.concurrent.Executors;
import java.util.concurrent.Future;
import org.hl7.fhir.utilities.validation.ValidationMessage;
import org.hl7.fhir.utilities.validation.ValidationMessage.IssueSeverity;

/** Judges files of resources and says what was found; see the script `run`. */
public final class Judge {
  private static final int THREADS = 2;
  private static final int PRINTED_MAX = 100;

  private String release = "4.0.1";
  private final List<Path> tables = new ArrayList<>();
  private Path changed;
  private Path verdicts;
  private boolean isPart = false;
  private final List<Path> packages = new ArrayList<>();
  private final List<Path> places = new ArrayList<>();

  private final Map<String, Integer> types = new TreeMap<>();
  private final Map<String, Integer> groups = new TreeMap<>();  // shape of warning -> count
  private final Map<String, String> examples = new LinkedHashMap<>();  // shape -> first of them
  private int errors = 0;
  private int warnings = 0;
  private int notes = 0;
  private int bad = 0;
  private int profiled = 0;

  private Judge(String[] words) {
    for (int i = 0; i < words.length; i++) {
      switch (words[i]) {
        case "--release" -> release = words[++i];
        case "--package" -> packages.add(Path.of(words[++i]));
        case "--warnings" -> tables.add(Path.of(words[++i]));
        case "--verdicts" -> {
          changed = Path.of(words[++i]);
          verdicts = Path.of(words[++i]);
        }
        case "--part" -> isPart = true;
        default -> places.add(Path.of(words[i]));
      }
    }
  }

  public static void main(String[] words) throws Exception {
    System.exit(new Judge(words).run() ? 0 : 1);
  }

  private boolean run() throws Exception {
    List<Judged> resources = new ArrayList<>();
    for (Path place : places) resources.addAll(Judged.read(place));
    Validator validator = new Validator(release, packages);
    long start = System.nanoTime();
    var pool = Executors.newFixedThreadPool(THREADS);
    List<Future<List<ValidationMessage>>> answers = new ArrayList<>();
    for (Judged one : resources) answers.add(pool.submit(() -> validator.judge(one)));
    List<Future<String>> told = new ArrayList<>();
    if (changed != null) {
      for (Judged one : Judged.read(changed)) told.add(pool.submit(() -> verdict(validator, one)));
    }
    pool.shutdown();
    WarningTable excuses = new WarningTable(tables, release);
    for (int i = 0; i < resources.size(); i++) {
      if (validator.hasProfile(resources.get(i).type())) profiled++;
      note(resources.get(i), answers.get(i).get(), excuses);
    }
    double seconds = (System.nanoTime() - start) / 1e9;
    if (verdicts != null) {
      StringBuilder lines = new StringBuilder();
      for (Future<String> line : told) lines.append(line.get()).append('\n');
      // Not as characters: what is quoted may be half of a surrogate pair.
      Files.write(verdicts, lines.toString().getBytes(StandardCharsets.UTF_8));
    }
    return report(resources.size(), seconds, excuses);
  }

  /**
   * What is wrong with a resource by its profile: a JSON array of [place, message id, message]. A
   * resource so odd that the validator itself stops at it is refused with the reason.
   */
  private static String verdict(Validator validator, Judged resource) throws Exception {
    var errors = Judged.JSON.createArrayNode();
    try {
      for (ValidationMessage message : validator.againstProfile(resource)) {
        if (!message.getLevel().isError()) continue;
        errors.addArray().add(message.getLocation()).add(message.getMessageId()).add(message.getMessage());
      }
    } catch (RuntimeException stopped) {
      errors.addArray().add("").add("STOPPED").add(String.valueOf(stopped));
    }
    return Judged.JSON.writeValueAsString(errors);
  }

  /** Counts what was said about one resource, and prints what is wrong. */
  private void note(Judged resource, List<ValidationMessage> said, WarningTable excuses) {
    types.merge(resource.type(), 1, Integer::sum);
    boolean isBad = false;
    for (ValidationMessage message : said) {
      String text = message.getMessageId() + " " + message.getLocation() + " " + message.getMessage();
      if (message.getLevel() == IssueSeverity.INFORMATION) {
        notes++;
      } else if (message.getLevel() == IssueSeverity.WARNING) {
        warnings++;
        groups.merge(shapeOf(message), 1, Integer::sum);
        examples.putIfAbsent(shapeOf(message), resource.place() + " " + text);
        if (!excuses.excuses(text)) {
          isBad = true;
          examples.put(shapeOf(message), "no row for it: " + resource.place() + " " + text);
        }
      } else {
        isBad = true;
        if (errors++ < PRINTED_MAX) System.out.println(resource.place() + " error: " + text);
      }
    }
    if (isBad) bad++;
  }

  /** The message without what differs from resource to resource. */
  private static String shapeOf(ValidationMessage message) {
    String place = message.getLocation().replaceAll("\\[\\d+\\]|/\\*[^*]*\\*/", "");
    String text = message.getMessage().replaceAll("'[^']*'", "'*'").replaceAll("[0-9a-f]{8}-[0-9a-f-]{27}", "*");
    return message.getMessageId() + " at " + place + ": " + text;
  }

  private boolean report(int resources, double seconds, WarningTable excuses) throws Exception {
    if (errors > PRINTED_MAX) System.out.println("and " + (errors - PRINTED_MAX) + " errors more");
    for (var group : groups.entrySet()) {
      System.out.println("warning, " + group.getValue() + " times: " + group.getKey());
      String example = examples.get(group.getKey());
      if (example.startsWith("no row")) System.out.println("  " + example);
    }
    int failed = bad;
    if (!isPart) {
      for (String pattern : excuses.unused()) {
        System.out.println("a row of the table of warnings excuses nothing: " + pattern);
        failed++;
      }
    }
    if (resources == 0) {
      System.out.println("there was nothing to judge: that counts as a failure");
      failed++;
    }
    Map<String, Object> counts = new LinkedHashMap<>();
    counts.put("judge", "reference validator on the JVM");
    counts.put("release", release);
    counts.put("resources", resources);
    counts.put("against_profiles", profiled);
    counts.put("errors", errors);
    counts.put("warnings", warnings);
    counts.put("warnings_by_reason", excuses.byReason());
    counts.put("information", notes);
    counts.put("per_second", Math.round(resources / seconds));
    counts.put("types", types);
    System.out.println(Judged.JSON.writeValueAsString(counts));
    System.out.println((resources - bad) + " passed, " + failed + " failed");
    return failed == 0;
  }
}
