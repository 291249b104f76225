import java.io.ByteArrayInputStream;
import java.io.IOException;
import java.nio.charset.StandardCharsets;
import java.util.List;
import java.util.Locale;
import java.util.Set;
import java.util.regex.Matcher;
import java.util.regex.Pattern;
import org.hl7.fhir.r5.context.IWorkerContext;
import org.hl7.fhir.r5.elementmodel.Element;
import org.hl7.fhir.r5.elementmodel.Manager;
import org.hl7.fhir.r5.elementmodel.Manager.FhirFormat;
import org.hl7.fhir.r5.model.CanonicalResource;
import org.hl7.fhir.r5.model.CanonicalType;
import org.hl7.fhir.r5.utils.validation.IResourceValidator;
import org.hl7.fhir.r5.utils.validation.IValidatorResourceFetcher;

/**
 * What the validator gets for a reference out of what it sees: an empty resource of the type that
 * the reference names, so that the type is judged. Nothing is fetched; addresses are only names.
 */
final class TypesOnly implements IValidatorResourceFetcher {
  /** R4, References: the type and id at the end of a RESTful reference. */
  private static final Pattern REFERENCE =
      Pattern.compile("(?:.*/)?([A-Z][A-Za-z]+)/[A-Za-z0-9.-]{1,64}(?:/_history/[A-Za-z0-9.-]{1,64})?");

  private final IWorkerContext knowledge;

  TypesOnly(IWorkerContext knowledge) {
    this.knowledge = knowledge;
  }

  @Override
  public Element fetch(IResourceValidator validator, Object context, String url) throws IOException {
    Matcher parts = REFERENCE.matcher(url);
    if (!parts.matches() || !knowledge.getResourceNames().contains(parts.group(1))) return null;
    String empty = "{\"resourceType\":\"" + parts.group(1) + "\"}";
    var bytes = new ByteArrayInputStream(empty.getBytes(StandardCharsets.UTF_8));
    return Manager.parseSingle(knowledge, bytes, FhirFormat.JSON);
  }

  @Override
  public boolean resolveURL(
      IResourceValidator validator,
      Object context,
      String path,
      String url,
      String type,
      boolean isCanonical,
      List<CanonicalType> targets) {
    return true;
  }

  @Override
  public byte[] fetchRaw(IResourceValidator validator, String url) {
    return new byte[0];
  }

  @Override
  public IValidatorResourceFetcher setLocale(Locale locale) {
    return this;
  }

  @Override
  public CanonicalResource fetchCanonicalResource(
      IResourceValidator validator, Object context, String url) {
    return null;
  }

  @Override
  public boolean fetchesCanonicalResource(IResourceValidator validator, String url) {
    return false;
  }

  @Override
  public Set<ResourceVersionInformation> fetchCanonicalResourceVersions(
      IResourceValidator validator, Object context, String url) {
    return Set.of();
  }
}
