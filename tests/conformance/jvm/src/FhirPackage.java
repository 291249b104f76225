import ca.uhn.fhir.context.FhirContext;
import ca.uhn.fhir.parser.IParser;
import java.io.BufferedInputStream;
import java.io.IOException;
import java.io.InputStream;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.HashMap;
import java.util.Map;
import java.util.zip.GZIPInputStream;
import org.apache.commons.compress.archivers.tar.TarArchiveEntry;
import org.apache.commons.compress.archivers.tar.TarArchiveInputStream;
import org.hl7.fhir.common.hapi.validation.support.PrePopulatedValidationSupport;

/**
 * Definitions for the validator: a FHIR package archive (.tgz, files in package/, per the FHIR NPM
 * Package Specification), or one definition (.json).
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
      readArchive(parser, file);
    }
    if (definitions.countAll() == 0) throw new IOException("no definitions in " + file);
  }

  private void readArchive(IParser parser, Path archive) throws IOException {
    try (InputStream bytes = new BufferedInputStream(Files.newInputStream(archive));
        TarArchiveInputStream tar = new TarArchiveInputStream(new GZIPInputStream(bytes))) {
      for (TarArchiveEntry file = tar.getNextEntry(); file != null; file = tar.getNextEntry()) {
        if (!file.getName().matches("package/[^/]+\\.json")) continue;
        add(parser, new String(tar.readAllBytes(), StandardCharsets.UTF_8));
      }
    }
  }

  private void add(IParser parser, String text) throws IOException {
    var json = Judged.JSON.readTree(text);
    if (!json.has("resourceType") || !json.has("url")) return;  // package.json, the index, examples
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
