// The independent judges. Each layer is a name and resource -> list of findings; a text is an error, an object
// {warning} a warning.
import { ValueSets, readResources, structureDefinitions } from '../../schemas/fhir/definitions.mjs';
import { invariantJudge } from './invariants.mjs';
import { officialSchema } from './official_schema.mjs';
import { definitions, load } from './packages.mjs';
import { fhirRegExp } from './patterns.mjs';
import { structureJudge } from './structure.mjs';
import { Walker } from './walker.mjs';

const graded = (severity, text) => (['error', 'fatal'].includes(severity) ? text : { warning: text });

/** ajv with the official JSON schema, compiled per resource type. */
function officialSchemaJudge() {
  const Ajv = load('ajv').default;
  const ajv = new Ajv({ strict: false, allErrors: true, code: { regExp: fhirRegExp } });
  ajv.addMetaSchema(load('ajv/dist/refs/json-schema-draft-06.json'));
  const { id, ...schema } = officialSchema(definitions());  // draft 06 says $id
  ajv.addSchema({ $id: id, ...schema }, 'r4');
  const byType = new Map();
  return (resource) => {
    const type = resource.resourceType;
    if (!(type in schema.discriminator.mapping)) return [`no resource type "${type}"`];
    if (!byType.has(type)) byType.set(type, ajv.compile({ $ref: `r4#/definitions/${type}` }));
    const validate = byType.get(type);
    return validate(resource) ? [] : validate.errors.map((e) => `${e.instancePath || '/'} ${e.message}`);
  };
}

/** The StructureDefinition validation of @medplum/core, over the official definitions. */
function medplumJudge() {
  const { indexStructureDefinitionBundle, validateResource } = load('@medplum/core');
  for (const file of ['profiles-types.json', 'profiles-resources.json'])
    indexStructureDefinitionBundle(readResources(definitions(), file));
  return (resource) => {
    let issues;
    try {
      issues = validateResource(resource);
    } catch (error) {
      issues = error.outcome?.issue ?? [{ severity: 'fatal', details: { text: error.message } }];
    }
    // It takes bdl-8's empty result (no fullUrl) for a failure; the layer "invariants" judges bdl-8.
    return issues.filter((i) => !i.details?.text?.includes('bdl-8'))
      .map((i) => graded(i.severity, `${(i.expression ?? []).join()}: ${i.details?.text}`));
  };
}

/** The "fhir" package over the official definitions: structure, required bindings, target types. */
function fhirPackageJudge() {
  const { Fhir, ParseConformance, Versions } = load('fhir');
  const conformance = new ParseConformance(false, Versions.R4);
  for (const file of ['valuesets', 'v2-tables', 'v3-codesystems', 'profiles-types', 'profiles-resources'])
    conformance.parseBundle({ entry: readResources(definitions(), `${file}.json`).map((resource) => ({ resource })) });
  const fhir = new Fhir(conformance);
  return (resource) => {
    let answer;
    try {
      answer = fhir.validate(resource, { errorOnUnexpected: true });
    } catch (error) {
      return [`cannot judge: ${error.message}`];
    }
    // It has no SNOMED CT or LOINC and warns about every coding of a binding that is not required.
    return answer.messages.filter((m) => !/^(Value set .* could not be found|Code .* not found in value set)/.test(m.message))
      .map((m) => graded(m.severity, `${m.location ?? ''}: ${m.message}`));
  };
}

/**
 * All layers that judge a parsed resource of a release: [{name, judge}]. Takes some seconds. Only R4 has a JSON
 * schema and libraries here that know it; the definitions of every release are walked.
 */
export function makeLayers(release = 'r4') {
  const structures = structureDefinitions(definitions(release));
  const walker = new Walker(structures);
  const tools = { load, release, structures, walker, valueSets: new ValueSets(definitions(release)) };
  const known = release !== 'r4' ? [] : [
    { name: 'official-schema', judge: officialSchemaJudge() },
    { name: 'medplum-core', judge: medplumJudge() },
    { name: 'fhir-package', judge: fhirPackageJudge() },
  ];
  return [...known,
    { name: 'structure', judge: structureJudge(tools) },
    { name: 'invariants', judge: invariantJudge(tools) },
  ];
}
