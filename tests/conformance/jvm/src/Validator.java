import ca.uhn.fhir.context.FhirContext;
import ca.uhn.fhir.context.support.DefaultProfileValidationSupport;
import ca.uhn.fhir.context.support.IValidationSupport;
import java.io.ByteArrayInputStream;
import java.io.IOException;
import java.nio.charset.StandardCharsets;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.HashMap;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import org.hl7.fhir.common.hapi.validation.support.CommonCodeSystemsTerminologyService;
import org.hl7.fhir.common.hapi.validation.support.InMemoryTerminologyServerValidationSupport;
import org.hl7.fhir.common.hapi.validation.support.SnapshotGeneratingValidationSupport;
import org.hl7.fhir.common.hapi.validation.support.UnknownCodeSystemWarningValidationSupport;
import org.hl7.fhir.common.hapi.validation.support.ValidationSupportChain;
import org.hl7.fhir.common.hapi.validation.validator.FhirDefaultPolicyAdvisor;
import org.hl7.fhir.common.hapi.validation.validator.FhirInstanceValidator.NullEvaluationContext;
import org.hl7.fhir.common.hapi.validation.validator.WorkerContextValidationSupportAdapter;
import org.hl7.fhir.r5.elementmodel.Manager.FhirFormat;
import org.hl7.fhir.r5.model.StructureDefinition;
import org.hl7.fhir.r5.utils.validation.IResourceValidator;
import org.hl7.fhir.r5.utils.validation.ValidatorSession;
import org.hl7.fhir.r5.utils.validation.constants.BestPracticeWarningLevel;
import org.hl7.fhir.r5.utils.validation.constants.IdStatus;
import org.hl7.fhir.r5.utils.validation.constants.ReferenceValidationPolicy;
import org.hl7.fhir.r5.utils.xver.XVerExtensionManagerOld;
import org.hl7.fhir.utilities.validation.ValidationMessage;
import org.hl7.fhir.validation.ValidatorSettings;
import org.hl7.fhir.validation.instance.InstanceValidator;

/**
 * The reference instance validator of one FHIR release, without network. Safe from several threads.
 * A thread keeps its InstanceValidator: a new one reads its tables anew, which takes longer than
 * most resources do.
 */
final class Validator {
  /** A reference may lead out of what we see, but its form and the type it names are checked. */
  private static final class CheckReferences extends FhirDefaultPolicyAdvisor {
    @Override
    public ReferenceValidationPolicy policyForReference(
        IResourceValidator validator,
        Object context,
        String path,
        String url,
        ReferenceDestinationType destination) {
      return ReferenceValidationPolicy.CHECK_TYPE_IF_EXISTS;
    }
  }

  private final WorkerContextValidationSupportAdapter knowledge;
  private final Map<String, String> profiles = new HashMap<>();
  private final ThreadLocal<InstanceValidator> validators = ThreadLocal.withInitial(this::fresh);

  @SuppressWarnings("deprecation")  // of the last support: it is marked so, but nothing takes its place
  Validator(String release, List<Path> packages) throws IOException {
    FhirContext context = contextOf(release);
    List<IValidationSupport> supports = new ArrayList<>();
    supports.add(new DefaultProfileValidationSupport(context));
    for (Path archive : packages) {
      FhirPackage ours = new FhirPackage(context, archive);
      supports.add(ours.definitions);
      profiles.putAll(ours.profiles);
    }
    supports.add(new CommonCodeSystemsTerminologyService(context));
    supports.add(new InMemoryTerminologyServerValidationSupport(context));
    supports.add(new SnapshotGeneratingValidationSupport(context));
    // Last, so that it speaks only about systems that nobody before it knows (SNOMED CT, LOINC).
    var unknown = new UnknownCodeSystemWarningValidationSupport(context);
    unknown.setNonExistentCodeSystemSeverity(IValidationSupport.IssueSeverity.WARNING);
    supports.add(unknown);
    ValidationSupportChain chain = new ValidationSupportChain(supports);
    // R4, Using Codes in resources: one coding from the set is enough, others may stand beside it.
    chain.setCodeableConceptValidationSuccessfulIfNotAllCodingsAreValid(true);
    knowledge = WorkerContextValidationSupportAdapter.newVersionSpecificWorkerContextWrapper(chain);
  }

  private static FhirContext contextOf(String release) {
    return switch (release) {
      case "4.0.1" -> FhirContext.forR4Cached();
      case "4.3.0" -> FhirContext.forR4BCached();
      case "5.0.0" -> FhirContext.forR5Cached();
      default -> throw new IllegalArgumentException("no release " + release);
    };
  }

  private InstanceValidator fresh() {
    var fresh =
        new InstanceValidator(
            knowledge,
            new NullEvaluationContext(),
            new XVerExtensionManagerOld(knowledge),
            new ValidatorSession(),
            new ValidatorSettings());
    fresh.setFetcher(new TypesOnly(knowledge));
    fresh.setPolicyAdvisor(new CheckReferences());
    fresh.setBestPracticeWarningLevel(BestPracticeWarningLevel.Warning);
    fresh.setAnyExtensionsAllowed(false);
    fresh.setErrorForUnknownProfiles(true);
    fresh.setUnknownCodeSystemsCauseErrors(true);
    fresh.setResourceIdRule(IdStatus.OPTIONAL);
    return fresh;
  }

  /** Whether a package has a profile of this type. */
  boolean hasProfile(String type) {
    return profiles.containsKey(type);
  }

  /**
   * What the validator says against the base definition, the profiles that the resource names and,
   * where a package has one, the profile of the type; what is said twice comes once.
   */
  List<ValidationMessage> judge(Judged resource) {
    Map<String, ValidationMessage> said = new LinkedHashMap<>();
    against(resource, List.of(), said);
    String profile = profiles.get(resource.type());
    boolean isNamed = profile != null && resource.text().contains("\"" + profile + "|");
    if (profile != null && !isNamed) against(resource, profileOf(resource), said);
    return List.copyOf(said.values());
  }

  /** What the validator says against the profile of the resource's type, which holds its base too. */
  List<ValidationMessage> againstProfile(Judged resource) {
    Map<String, ValidationMessage> said = new LinkedHashMap<>();
    against(resource, profileOf(resource), said);
    return List.copyOf(said.values());
  }

  private List<StructureDefinition> profileOf(Judged resource) {
    String profile = profiles.get(resource.type());
    if (profile == null) throw new IllegalArgumentException("no profile of " + resource.type());
    return List.of(knowledge.fetchResource(StructureDefinition.class, profile));
  }

  private void against(
      Judged resource, List<StructureDefinition> definitions, Map<String, ValidationMessage> said) {
    var bytes = new ByteArrayInputStream(resource.text().getBytes(StandardCharsets.UTF_8));
    List<ValidationMessage> messages = new ArrayList<>();
    validators.get().validate(null, messages, bytes, FhirFormat.JSON, new ArrayList<>(definitions));
    for (ValidationMessage message : messages) {
      // An unknown profile is a warning there, as a server may never have met it; ours must be known.
      boolean isUnknownProfile = String.valueOf(message.getMessageId()).matches("(?i).*_PROFILE_UNKNOWN.*");
      if (isUnknownProfile) message.setLevel(ValidationMessage.IssueSeverity.ERROR);
      said.putIfAbsent(
          message.getLevel() + " " + message.getLocation() + " " + message.getMessage(), message);
    }
  }
}
