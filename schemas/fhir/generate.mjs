#!/usr/bin/env node
// Writes the draft-04 schemas in r4/, r4b/ and r5/ from the official definitions of those FHIR releases
// (TYPE.schema.json) and, narrower, from our profiles of them in schemas/profiles (TYPE.profile.schema.json).
//   npm ci && node generate.mjs            write them
//   npm ci && node generate.mjs --check    exit 1 if the files here differ from what would be written
// Option --modules=DIR: the node_modules folder to use instead of the one beside this script.
//
// Facts only: names, types, counts, choices, codes, targets. Stricter than the published schema:
//   required primitives, one choice only, every listable required binding, reference targets,
//   calendar dates and number ranges, no empty array, object or string, no null.
// Narrower than FHIR in four points, because we never make these:
//   - `contained` and Bundle entries hold only the types below; nothing is contained in contained;
//   - an array of primitives has no null, nor has its `_` companion;
//   - a `_` companion always has an extension (not an id alone);
//   - a Reference's literal reference is a URI (FHIR: string), so it has no white space.
import fs from 'node:fs';
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import { readProfiles } from '../profiles/profiles.mjs';
import { RELEASES, ValueSets, definitionsFolder, structureDefinitions } from './definitions.mjs';
import { ReleaseSchemas } from './structures.mjs';

const HERE = path.dirname(fileURLToPath(import.meta.url));
const TYPES_BEFORE_R5 = ['Procedure', 'Device', 'DeviceUseStatement', 'Observation', 'Task', 'Provenance',
  'Bundle', 'OperationOutcome'];
const TYPES = { r4: TYPES_BEFORE_R5, r4b: TYPES_BEFORE_R5, r5: ['Procedure', 'Device', 'DeviceUsage',
  'DeviceAssociation', 'Observation', 'Task', 'Provenance', 'Bundle', 'OperationOutcome'] };

const options = process.argv.slice(2);
const checks = options.includes('--check');
const modules = options.find((o) => o.startsWith('--modules='))?.slice('--modules='.length)
  ?? path.join(HERE, 'node_modules');

/** One member a line where it helps reading, the rest on one line. */
function print(value, indent, depth) {
  const isPlain = value === null || typeof value !== 'object' || Array.isArray(value);
  if (isPlain || depth === 0 || Object.keys(value).length === 0) return JSON.stringify(value);
  const inner = `${indent} `;
  const members = Object.entries(value).map(([key, member]) =>
    `${inner}${JSON.stringify(key)}: ${print(member, inner, depth - 1)}`);
  return `{\n${members.join(',\n')}\n${indent}}`;
}

/** Path below this folder -> text of every file. */
function wanted() {
  const texts = new Map();
  for (const release of Object.keys(RELEASES)) {
    const folder = definitionsFolder(modules, release);
    const { profiles, valueSets: ours } = readProfiles(release);
    const valueSets = new ValueSets(folder);
    for (const set of ours) valueSets.add(set);
    const schemas = new ReleaseSchemas(structureDefinitions(folder), valueSets);
    for (const [name, schema] of schemas.generate(TYPES[release], profiles))
      texts.set(`${release}/${name}`, `${print(schema, '', 4)}\n`);
  }
  return texts;
}

const present = Object.keys(RELEASES).flatMap((release) => {
  const folder = path.join(HERE, release);
  return fs.existsSync(folder) ? fs.readdirSync(folder).map((name) => `${release}/${name}`) : [];
});
const texts = wanted();
let differing = 0;
for (const name of new Set([...present, ...texts.keys()])) {
  const file = path.join(HERE, name);
  const text = texts.get(name);
  if (!checks) {
    fs.mkdirSync(path.dirname(file), { recursive: true });
    if (text === undefined) fs.rmSync(file);
    else fs.writeFileSync(file, text);
  } else if (text === undefined || !fs.existsSync(file) || fs.readFileSync(file, 'utf8') !== text) {
    console.log(`differs from what the definitions give: ${name}`);
    differing++;
  }
}
console.log(checks ? `${texts.size - differing} passed, ${differing} failed` : `${texts.size} files written`);
process.exit(differing ? 1 : 0);
