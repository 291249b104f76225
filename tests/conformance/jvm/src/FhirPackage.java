import ca.uhn.fhir.context.FhirContext;
import ca.uhn.fhir.parser.IParser;
import java.io.IOException;
import java.io.InputStream;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.HashMap;
import java.util.Map;
import org.hl7.fhir.common.hapi.validation.support.PrePopulatedValidationSupport;
import org.hl7.fhir.utilities.npm.NpmPackage;
import org.hl7.fhir.utilities.npm.NpmPackage.PackagedResourceFile;

/**
 * Definitions for the validator: a FHIR package archive (.tgz), read by the package reader of the
 * reference implementation, or one definition (.json).
 */
final class FhirPackage {
  final PrePopulatedValidationSupport definitions;

  /** Resource type -> the canonical URL of the package's profile of it. */
  final Map<String, String> profiles = new HashMap<>();

  FhirPackage(FhirContext context, Path file) throws IOException {
    definitions = new PrePopulatedValidationSupport(context);
    IParser parser = context.newJsonParser();
    if (file.toString().endsWith(".json")) {
      add(parser, Files.readString(file));
    } else {
      readArchive(parser, file, context.getVersion().getVersion().getFhirVersionString());
    }
    if (definitions.countAll() == 0) throw new IOException("no definitions in " + file);
  }

  private void readArchive(IParser parser, Path archive, String release) throws IOException {
    NpmPackage files;
    try (InputStream bytes = Files.newInputStream(archive)) {
      files = NpmPackage.fromPackage(bytes);
    }
    if (!files.fhirVersion().equals(release)) {
      throw new IOException(archive + " is of FHIR " + files.fhirVersion() + ", not " + release);
    }
    for (PackagedResourceFile file : files.listAllResources()) {
      if (!file.getFolder().equals("package")) continue;  // examples
      try (InputStream bytes = files.load(file.getFolder(), file.getFilename())) {
        add(parser, new String(bytes.readAllBytes(), StandardCharsets.UTF_8));
      }
    }
  }

  private void add(IParser parser, String text) throws IOException {
    var json = Judged.JSON.readTree(text);
    if (!json.has("resourceType") || !json.has("url")) return;
    definitions.addResource(parser.parseResource(text));
    boolean isProfile =
        json.path("resourceType").asText().equals("StructureDefinition")
            && json.path("kind").asText().equals("resource")
            && json.path("derivation").asText().equals("constraint");
    String type = json.path("type").asText();
    if (isProfile && profiles.put(type, json.path("url").asText()) != null) {
      throw new IOException("two profiles of " + type);
    }
  }
}
