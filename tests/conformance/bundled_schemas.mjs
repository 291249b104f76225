// schemas/fhir under ajv (draft 04), with our own keywords and formats spelled out once more in
// JavaScript: proves the generated files apart from the C++ validator that uses them.
import fs from 'node:fs';
import path from 'node:path';
import { load, ROOT } from './packages.mjs';

const DATE = '(\\d{4})(?:-(0[1-9]|1[0-2])(?:-(0[1-9]|[12]\\d|3[01]))?)?';
const CLOCK = '(?:[01]\\d|2[0-3]):[0-5]\\d:(?:[0-5]\\d|60)(?:\\.\\d+)?';
const ZONE = '(?:Z|[+-](?:(?:0\\d|1[0-3]):[0-5]\\d|14:00))';
const dated = (form) => (text) => {
  const [, year, month, day] = new RegExp(`^${form}$`).exec(text) ?? [null, '0000'];
  if (year === '0000') return false;
  return !day || new Date(Date.UTC(+year, month - 1, +day)).getUTCDate() === +day;
};
/** Coarser than our own check: the outermost div, something to read, no active content. */
const xhtml = (text) => /^<div[ >][^]*<\/div>$/.test(text) && /\S/.test(text.replace(/<[^>]*>/g, ''))
  && !/<(script|form|iframe|object|embed|link|base)\b/.test(text);
const FORMATS = {
  id: /^[A-Za-z0-9.-]{1,64}$/, code: /^\S+( \S+)*$/, uri: /^\S+$/, oid: /^urn:oid:[0-2](\.(0|[1-9]\d*))+$/,
  uuid: /^urn:uuid:[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$/, string: /^[^]+$/, markdown: /^[^]+$/,
  time: new RegExp(`^${CLOCK}$`), date: dated(DATE), dateTime: dated(`${DATE}(?:(?<=-..-..)T${CLOCK}${ZONE})?`),
  instant: dated(`(\\d{4})-(0[1-9]|1[0-2])-(0[1-9]|[12]\\d|3[01])T${CLOCK}${ZONE}`),
  integer64: /^(?:0|[-+]?[1-9]\d*)$/,
  base64Binary: /^(\s*[A-Za-z0-9+/]){0,}(\s*=){0,2}\s*$/, xhtml,
};
const base64 = (text) => FORMATS.base64Binary.test(text) && text.replace(/\s/g, '').length % 4 === 0;

const isThere = (object, name) => name in object || `_${name}` in object;
const isObject = (value) => value !== null && typeof value === 'object' && !Array.isArray(value);
function targetAllowed(types, { type, reference }) {
  if (type !== undefined && !types.includes(type)) return false;
  if (reference === undefined || /^(#|urn:)/.test(reference)) return true;
  const [, named] = /^(?:https?:\/\/\S+\/)?([A-Z][A-Za-z]+)(?:\/[A-Za-z0-9.-]{1,64}(?:\/_history\/[A-Za-z0-9.-]{1,64})?|\?\S+)$/.exec(reference) ?? [];
  return types.includes(named) && (type === undefined || type === named);
}
const KEYWORDS = {
  'dwell:requiredPrimitives': (names, object) => !isObject(object) || names.every((n) => isThere(object, n)),
  'dwell:choices': (choices, object) => !isObject(object) || choices.every(({ of, min }) => {
    const count = of.filter((name) => isThere(object, name)).length;
    return count >= min && count <= 1;
  }),
  'dwell:references': (types, object) => !isObject(object) || targetAllowed(types, object),
};

/** Returns resource -> findings; release: the name of a folder below schemas/fhir. */
export function bundledSchemasJudge(release = 'r4') {
  const Ajv = load('ajv-draft-04').default;
  const ajv = new Ajv({ strict: false, validateFormats: true });
  for (const [name, form] of Object.entries(FORMATS)) ajv.addFormat(`fhir-${name}`, name === 'base64Binary' ? base64 : form);
  for (const name of ['decimal', 'integer', 'positiveInt', 'unsignedInt']) ajv.addFormat(`fhir-${name}`, true);
  for (const [keyword, validate] of Object.entries(KEYWORDS)) ajv.addKeyword({ keyword, validate });
  const folder = path.join(ROOT, 'schemas/fhir', release);
  const names = fs.readdirSync(folder).filter((name) => name.endsWith('.schema.json'));
  for (const name of names)
    ajv.addSchema({ id: `http://bundled/${name}`, ...JSON.parse(fs.readFileSync(path.join(folder, name), 'utf8')) });
  return (resource) => {
    const validate = names.includes(`${resource.resourceType}.schema.json`)
      && ajv.getSchema(`http://bundled/${resource.resourceType}.schema.json`);
    if (!validate) return ['not one of our types'];
    return validate(resource) ? [] : validate.errors.map((e) => `${e.instancePath || '/'} ${e.message}`);
  };
}
