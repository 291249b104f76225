// The independent judges. Each layer is a name and resource -> list of findings.
import { ValueSets, readResources, structureDefinitions } from '../../schemas/fhir/definitions.mjs';
import { invariantJudge } from './invariants.mjs';
import { officialSchema } from './official_schema.mjs';
import { definitions, load } from './packages.mjs';
import { structureJudge } from './structure.mjs';
import { Walker } from './walker.mjs';

/** ajv with the official JSON schema, compiled per resource type. */
function officialSchemaJudge() {
  const Ajv = load('ajv').default;
  const ajv = new Ajv({ strict: false, allErrors: true });
  ajv.addMetaSchema(load('ajv/dist/refs/json-schema-draft-06.json'));
  const { id, ...schema } = officialSchema(definitions);  // draft 06 says $id
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
    indexStructureDefinitionBundle(readResources(definitions, file));
  return (resource) => {
    let issues;
    try {
      issues = validateResource(resource);
    } catch (error) {
      issues = error.outcome?.issue ?? [{ severity: 'fatal', details: { text: error.message } }];
    }
    // It takes bdl-8's empty result (no fullUrl) for a failure; the layer "invariants" judges bdl-8.
    return issues.filter((i) => ['error', 'fatal'].includes(i.severity) && !i.details?.text?.includes('bdl-8'))
      .map((i) => `${(i.expression ?? []).join()}: ${i.details?.text}`);
  };
}

/** The "fhir" package over the official definitions: structure, required bindings, target types. */
function fhirPackageJudge() {
  const { Fhir, ParseConformance, Versions } = load('fhir');
  const conformance = new ParseConformance(false, Versions.R4);
  for (const file of ['valuesets', 'v2-tables', 'v3-codesystems', 'profiles-types', 'profiles-resources'])
    conformance.parseBundle({ entry: readResources(definitions, `${file}.json`).map((resource) => ({ resource })) });
  const fhir = new Fhir(conformance);
  return (resource) => {
    let answer;
    try {
      answer = fhir.validate(resource, { errorOnUnexpected: true });
    } catch (error) {
      return [`cannot judge: ${error.message}`];
    }
    return answer.messages.filter((m) => ['error', 'fatal'].includes(m.severity))
      .map((m) => `${m.location ?? ''}: ${m.message}`);
  };
}

/** All layers that judge a parsed resource: [{name, judge}]. Takes some seconds. */
export function makeLayers() {
  const structures = structureDefinitions(definitions);
  const walker = new Walker(structures);
  const tools = { load, structures, walker, valueSets: new ValueSets(definitions) };
  return [
    { name: 'official-schema', judge: officialSchemaJudge() },
    { name: 'medplum-core', judge: medplumJudge() },
    { name: 'fhir-package', judge: fhirPackageJudge() },
    { name: 'structure', judge: structureJudge(tools) },
    { name: 'invariants', judge: invariantJudge(tools) },
  ];
}
