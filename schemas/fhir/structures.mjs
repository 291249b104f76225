// The draft-04 schemas of the resource types of one FHIR release, from its official definitions and our profiles.
import { capitalized, fhirType, isSystemType, targetTypes } from './definitions.mjs';
import { addInvariant, checkEnforced, patternSchema, sliceSchema } from './narrowing.mjs';
import { snapshotOf } from './snapshot.mjs';

const INLINE_CODES_MAX = 30;  // longer code lists become a definition of their own

const text = (format) => ({ type: 'string', format: `fhir-${format}` });
const whole = (format, minimum) =>
  ({ type: 'integer', format: `fhir-${format}`, minimum, maximum: 2147483647 });
const PRIMITIVES = {
  base64Binary: text('base64Binary'), boolean: { type: 'boolean' }, canonical: text('uri'),
  code: text('code'), date: text('date'), dateTime: text('dateTime'),
  decimal: { type: 'number', format: 'fhir-decimal' }, id: text('id'), instant: text('instant'),
  integer: whole('integer', -2147483648), integer64: text('integer64'), markdown: text('markdown'), oid: text('oid'),
  positiveInt: whole('positiveInt', 1), string: text('string'), time: text('time'),
  unsignedInt: whole('unsignedInt', 0), uri: text('uri'), url: text('uri'), uuid: text('uuid'),
  xhtml: text('xhtml'),
};
const TYPE_OVERRIDES = { 'Reference.reference': 'uri' };

/** One output file: definitions are added as they are referred to; those of a profile can also be its base's. */
class File {
  constructor(name, base) { this.name = name; this.base = base ?? this; this.definitions = {}; }
}

const refTo = (target, name, from) =>
  ({ $ref: `${target === from ? '' : target.name}#/definitions/${name}` });

/** A profile that allows one at most does not make a list something else. */
function asMany(element, schema) {
  if ((element.base?.max ?? element.max) === '1') return schema;
  const bound = element.max === '*' ? {} : { maxItems: Number(element.max) };
  return { type: 'array', minItems: Math.max(1, element.min), ...bound, items: schema };
}

const definitionName = (path) => path.replaceAll('[x]', '');

const parentOf = (path) => path.slice(0, path.lastIndexOf('.'));

/** Adds to the schema of `element` the invariants that the profile states on it, and its slices that must be. */
function addRules(schema, profile, element, all) {
  for (const { expression, source } of element.constraint ?? [])
    if (source === profile) addInvariant(schema, expression);
  for (const slice of all.filter((e) => e.sliceName && parentOf(e.path) === element.path)) {
    const rule = sliceSchema(slice, all);
    const name = slice.path.slice(element.path.length + 1);
    if (rule && schema.properties[name]) schema.properties[name] = { allOf: [schema.properties[name], rule] };
  }
}

/** The schema of a value whose Reference, or whose member `reference`, may point to these types only. */
function limitedTo(targets, type, schema) {
  if (targets.length === 0) return schema;
  const limit = { 'dwell:references': targets };
  return { allOf: [schema, type === 'CodeableReference' ? { properties: { reference: limit } } : limit] };
}

export class ReleaseSchemas {
  #datatypes = new File('datatypes.schema.json');
  #structures;
  #valueSets;

  /** structures: type name -> StructureDefinition; valueSets: codes(url). */
  constructor(structures, valueSets) {
    this.#structures = structures;
    this.#valueSets = valueSets;
  }

  /** The files of these resource types and of these profiles of theirs: [name, schema]. */
  generate(types, profiles) {
    const files = types.map((type) => new File(`${type}.schema.json`));
    types.forEach((type, i) => this.#defineStructure(this.#structures.get(type), files[i]));
    const narrowed = profiles.map((profile) => this.#defineProfile(profile, files[types.indexOf(profile.type)]));
    const definitions = this.#datatypes.definitions;
    definitions.Resource = { oneOf: types.map((type, i) => refTo(files[i], type, this.#datatypes)) };
    definitions.ContainedResource = { allOf: [refTo(this.#datatypes, 'Resource', this.#datatypes),
      { not: { required: ['contained'] } }] };
    this.#datatypes.definitions = Object.fromEntries(Object.entries(definitions).sort());
    const $schema = 'http://json-schema.org/draft-04/schema#';
    const rooted = (file, type) =>
      [file.name, { $schema, allOf: [refTo(file, type, file)], definitions: file.definitions }];
    return [[this.#datatypes.name, { $schema, definitions: this.#datatypes.definitions }],
      ...files.map((file, i) => rooted(file, types[i])),
      ...narrowed.map((file, i) => rooted(file, profiles[i].type))];
  }

  #defineProfile(profile, base) {
    checkEnforced(profile);
    const file = new File(`${profile.type}.profile.schema.json`, base);
    const element = snapshotOf(profile, this.#structures.get(profile.type), this.#structures);
    this.#defineStructure({ ...profile, kind: 'resource', snapshot: { element } }, file);
    return file;
  }

  #datatype(type, from) {
    const { definitions } = this.#datatypes;
    if (!(type in definitions)) {
      definitions[type] = PRIMITIVES[type] ?? {};
      if (!PRIMITIVES[type]) this.#defineStructure(this.#structures.get(type), this.#datatypes);
    }
    return refTo(this.#datatypes, type, from);
  }

  #codeSchema(element, from) {
    const codes = element.binding?.strength === 'required' && this.#valueSets.codes(element.binding.valueSet);
    if (!codes) return this.#datatype('code', from);
    const schema = { type: 'string', enum: codes };
    if (codes.length <= INLINE_CODES_MAX) return schema;
    const name = element.binding.valueSet.split('|')[0].split('/').at(-1);
    this.#datatypes.definitions[name] = schema;
    return refTo(this.#datatypes, name, from);
  }

  /** The schema of one value of an element that has this type. */
  #valueSchema(element, type, from) {
    const name = TYPE_OVERRIDES[element.base?.path ?? element.path] ?? fhirType(type);
    if (name === 'Resource') return refTo(this.#datatypes, element.path.endsWith('.contained')
      ? 'ContainedResource' : 'Resource', from);
    if (name === 'code') return this.#codeSchema(element, from);
    return this.#limited(type, this.#datatype(name, from));
  }

  #limited(type, schema) {
    const name = fhirType(type);
    return name === 'Reference' || name === 'CodeableReference' ? limitedTo(targetTypes(type), name, schema) : schema;
  }

  /** The schema of one value of an element of that type: its own definition where the elements inside are known. */
  #valueOrOwn(element, type, kids, file) {
    if (kids.has(element.path)) {
      const own = refTo(file, definitionName(element.path), file);
      return fhirType(type) === 'Reference' ? own : this.#limited(type, own);  // a Reference's own is limited itself
    }
    const pattern = patternSchema(element);
    if (pattern?.enum) return { type: 'string', ...pattern };
    const schema = this.#valueSchema(element, type, file);
    return pattern ? { allOf: [schema, pattern] } : schema;
  }

  #hasCompanion(type) {
    return this.#structures.get(fhirType(type))?.kind === 'primitive-type' && !isSystemType(type)
      && fhirType(type) !== 'xhtml';
  }

  /** Adds an element of `owner` (a JSON member, or several for a choice) to its owner's schema. */
  #addElement(owner, element, kids, file) {
    const name = element.path.slice(element.path.lastIndexOf('.') + 1);
    const add = (member, schema, companion) => {
      owner.properties[member] = asMany(element, schema);
      if (companion) owner.properties[`_${member}`] = asMany(element, this.#datatype('Element', file));
    };
    if (name.endsWith('[x]')) {
      const of = element.type.map((type) => name.slice(0, -3) + capitalized(fhirType(type)));
      element.type.forEach((type, i) =>
        add(of[i], this.#valueOrOwn(element, type, kids, file), this.#hasCompanion(type)));
      owner['dwell:choices'].push({ of, min: element.min });
      return;
    }
    if (element.contentReference) add(name, refTo(file.base, element.contentReference.split('#')[1], file));
    else add(name, this.#valueOrOwn(element, element.type[0], kids, file), this.#hasCompanion(element.type[0]));
    if (element.min === 0) return;
    const primitive = element.type && this.#hasCompanion(element.type[0]);
    owner[primitive ? 'dwell:requiredPrimitives' : 'required'].push(name);
  }

  /** Defines a datatype or resource and each of its inner elements in `file`. */
  #defineStructure(structure, file) {
    const all = structure.snapshot.element;
    const left = all.filter((e) => e.max === '0').map((e) => e.id);
    const isLeft = (e) => left.some((id) => e.id === id || e.id.startsWith(`${id}.`));
    const elements = all.filter((e) => !/:/.test(e.id) && !isLeft(e));
    const kids = new Map();
    for (const element of elements.slice(1)) {
      const parent = parentOf(element.path);
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
      file.definitions[definitionName(parent)] = schema;
      for (const child of children) this.#addElement(schema, child, kids, file);
      if (isResource && parent === structure.type) schema.properties.id = this.#datatype('id', file);
      if (parent === 'Element') schema.required.push('extension');
      for (const list of ['required', 'dwell:requiredPrimitives', 'dwell:choices'])
        if (schema[list].length === 0) delete schema[list];
      if (structure.derivation !== 'constraint') continue;
      const element = elements.find((e) => e.path === parent);
      const targets = element.type?.[0].code === 'Reference' ? targetTypes(element.type[0]) : [];
      if (targets.length) schema['dwell:references'] = targets;
      addRules(schema, structure.url, element, all);
    }
  }
}
