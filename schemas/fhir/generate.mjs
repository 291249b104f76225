#!/usr/bin/env node
// Writes the draft-04 schemas of this folder from the official R4 4.0.1 definitions.
//   npm ci && node generate.mjs            write them
//   npm ci && node generate.mjs --check    exit 1 if the files here differ from what would be written
// Option --modules=DIR: the node_modules folder to use instead of the one beside this script.
//
// Facts only: names, types, counts, choices, codes, targets. Stricter than the published schema:
//   required primitives, one choice only, every listable required binding, reference targets,
//   calendar dates and number ranges, no empty array, object or string, no null.
// Narrower than R4 in four points, because we never make these:
//   - `contained` and Bundle entries hold only the eight types below; nothing is contained in contained;
//   - an array of primitives has no null, nor has its `_` companion;
//   - a `_` companion always has an extension (not an id alone);
//   - a Reference's literal reference is a URI (R4: string), so it has no white space.
import fs from 'node:fs';
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import { ValueSets, capitalized, definitionsFolder, fhirType, isSystemType, structureDefinitions,
  targetTypes } from './definitions.mjs';

const HERE = path.dirname(fileURLToPath(import.meta.url));
const RESOURCES = ['Procedure', 'Device', 'DeviceUseStatement', 'Observation', 'Task', 'Provenance',
  'Bundle', 'OperationOutcome'];
const INLINE_CODES_MAX = 30;  // longer code lists become a definition of their own

const text = (format) => ({ type: 'string', format: `fhir-${format}` });
const whole = (format, minimum) =>
  ({ type: 'integer', format: `fhir-${format}`, minimum, maximum: 2147483647 });
const PRIMITIVES = {
  base64Binary: text('base64Binary'), boolean: { type: 'boolean' }, canonical: text('uri'),
  code: text('code'), date: text('date'), dateTime: text('dateTime'),
  decimal: { type: 'number', format: 'fhir-decimal' }, id: text('id'), instant: text('instant'),
  integer: whole('integer', -2147483648), markdown: text('markdown'), oid: text('oid'),
  positiveInt: whole('positiveInt', 1), string: text('string'), time: text('time'),
  unsignedInt: whole('unsignedInt', 0), uri: text('uri'), url: text('uri'), uuid: text('uuid'),
  xhtml: text('xhtml'),
};
const TYPE_OVERRIDES = { 'Reference.reference': 'uri' };

const options = process.argv.slice(2);
const modules = options.find((o) => o.startsWith('--modules='))?.slice('--modules='.length)
  ?? path.join(HERE, 'node_modules');
const folder = definitionsFolder(modules);
const structures = structureDefinitions(folder);
const valueSets = new ValueSets(folder);

/** One output file: definitions are added as they are referred to. */
class File {
  constructor(name) { this.name = name; this.definitions = {}; }
}
const datatypes = new File('datatypes.schema.json');
const files = [datatypes];

const refTo = (target, name, from) =>
  ({ $ref: `${target === from ? '' : target.name}#/definitions/${name}` });

function datatype(type, from) {
  if (!(type in datatypes.definitions)) {
    datatypes.definitions[type] = PRIMITIVES[type] ?? {};
    if (!PRIMITIVES[type]) defineStructure(structures.get(type), datatypes);
  }
  return refTo(datatypes, type, from);
}

function codeSchema(element, from) {
  if (element.binding?.strength !== 'required') return datatype('code', from);
  const codes = valueSets.codes(element.binding.valueSet);
  if (!codes) return datatype('code', from);
  const schema = { type: 'string', enum: codes };
  if (codes.length <= INLINE_CODES_MAX) return schema;
  const name = element.binding.valueSet.split('|')[0].split('/').at(-1);
  datatypes.definitions[name] = schema;
  return refTo(datatypes, name, from);
}

/** The schema of one value of an element that has this type. */
function valueSchema(element, type, from) {
  const name = TYPE_OVERRIDES[element.path] ?? fhirType(type);
  if (name === 'Resource') return refTo(datatypes, element.path.endsWith('.contained')
    ? 'ContainedResource' : 'Resource', from);
  if (name === 'code') return codeSchema(element, from);
  const schema = datatype(name, from);
  const targets = name === 'Reference' ? targetTypes(type) : [];
  return targets.length ? { allOf: [schema, { 'dwell:references': targets }] } : schema;
}

function asMany(element, schema) {
  if (element.max === '1') return schema;
  const bound = element.max === '*' ? {} : { maxItems: Number(element.max) };
  return { type: 'array', minItems: Math.max(1, element.min), ...bound, items: schema };
}

const hasCompanion = (type) =>
  structures.get(fhirType(type))?.kind === 'primitive-type' && !isSystemType(type)
  && fhirType(type) !== 'xhtml';

/** Adds an element of `owner` (a JSON member, or several for a choice) to its owner's schema. */
function addElement(owner, element, kids, file) {
  const name = element.path.slice(element.path.lastIndexOf('.') + 1);
  const add = (member, schema, companion) => {
    owner.properties[member] = asMany(element, schema);
    if (companion) owner.properties[`_${member}`] = asMany(element, datatype('Element', file));
  };
  if (name.endsWith('[x]')) {
    const of = element.type.map((type) => name.slice(0, -3) + capitalized(fhirType(type)));
    element.type.forEach((type, i) => add(of[i], valueSchema(element, type, file), hasCompanion(type)));
    owner['dwell:choices'].push({ of, min: element.min });
    return;
  }
  if (element.contentReference) add(name, refTo(file, element.contentReference.slice(1), file));
  else if (kids.has(element.path)) add(name, refTo(file, element.path, file));
  else add(name, valueSchema(element, element.type[0], file), hasCompanion(element.type[0]));
  if (element.min === 0) return;
  const primitive = element.type && hasCompanion(element.type[0]);
  owner[primitive ? 'dwell:requiredPrimitives' : 'required'].push(name);
}

/** Defines a datatype or resource and each of its inner elements in `file`. */
function defineStructure(structure, file) {
  const elements = structure.snapshot.element.filter((e) => !e.sliceName && e.max !== '0');
  const kids = new Map();
  for (const element of elements.slice(1)) {
    const parent = element.path.slice(0, element.path.lastIndexOf('.'));
    kids.set(parent, [...(kids.get(parent) ?? []), element]);
  }
  const isResource = structure.kind === 'resource';
  for (const [parent, children] of kids) {
    const schema = { type: 'object', minProperties: 1, required: [], 'dwell:requiredPrimitives': [],
      'dwell:choices': [], additionalProperties: false, properties: {} };
    if (isResource && parent === structure.type) {
      schema.properties.resourceType = { type: 'string', enum: [parent] };
      schema.required.push('resourceType');
    }
    file.definitions[parent] = schema;
    for (const child of children) addElement(schema, child, kids, file);
    if (isResource && parent === structure.type) schema.properties.id = datatype('id', file);
    if (parent === 'Element') schema.required.push('extension');
    for (const list of ['required', 'dwell:requiredPrimitives', 'dwell:choices'])
      if (schema[list].length === 0) delete schema[list];
  }
}

/** One member a line where it helps reading, the rest on one line. */
function print(value, indent, depth) {
  const isPlain = value === null || typeof value !== 'object' || Array.isArray(value);
  if (isPlain || depth === 0 || Object.keys(value).length === 0) return JSON.stringify(value);
  const inner = `${indent} `;
  const members = Object.entries(value).map(([key, member]) =>
    `${inner}${JSON.stringify(key)}: ${print(member, inner, depth - 1)}`);
  return `{\n${members.join(',\n')}\n${indent}}`;
}

function generate() {
  const targets = RESOURCES.map((type) => {
    const file = new File(`${type}.schema.json`);
    files.push(file);
    defineStructure(structures.get(type), file);
    return refTo(file, type, datatypes);
  });
  datatypes.definitions.Resource = { oneOf: targets };
  datatypes.definitions.ContainedResource =
    { allOf: [refTo(datatypes, 'Resource', datatypes), { not: { required: ['contained'] } }] };
  return files.map((file, i) => {
    const root = i === 0 ? {} : { allOf: [refTo(file, RESOURCES[i - 1], file)] };
    const sorted = i === 0 ? Object.fromEntries(Object.entries(file.definitions).sort()) : file.definitions;
    const schema = { $schema: 'http://json-schema.org/draft-04/schema#', ...root, definitions: sorted };
    return [file.name, `${print(schema, '', 4)}\n`];
  });
}

let differing = 0;
for (const [name, wanted] of generate()) {
  const file = path.join(HERE, name);
  if (!options.includes('--check')) fs.writeFileSync(file, wanted);
  else if (!fs.existsSync(file) || fs.readFileSync(file, 'utf8') !== wanted) {
    console.log(`differs from what the definitions give: ${name}`);
    differing++;
  }
}
console.log(options.includes('--check')
  ? `${files.length - differing} passed, ${differing} failed` : `${files.length} files written`);
process.exit(differing ? 1 : 0);
