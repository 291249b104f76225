// Layer "structure": members, counts, choices, primitive forms with their calendar, required bindings
// and reference targets, as the official StructureDefinitions and ValueSets state them.
import { targetTypes } from '../../schemas/fhir/definitions.mjs';
import { bundleFindings } from './bundle_rules.mjs';
import { fhirPattern } from './patterns.mjs';
import { isObject } from './walker.mjs';

const JSON_TYPES = { boolean: 'boolean', integer: 'number', decimal: 'number', positiveInt: 'number',
  unsignedInt: 'number' };

/** Whether the day of a date that begins with YYYY-MM-DD exists (Gregorian calendar). */
function dayExists(text) {
  const parts = /^(\d{4})-(\d\d)-(\d\d)/.exec(text)?.slice(1).map(Number);
  if (!parts) return true;
  const [year, month, day] = parts;
  const isLeap = year % 4 === 0 && (year % 100 !== 0 || year % 400 === 0);
  const days = [31, isLeap ? 29 : 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];
  return month >= 1 && month <= 12 && day >= 1 && day <= days[month - 1];
}

/** The regular expression that a primitive's own StructureDefinition publishes. */
function publishedForm(structures, type) {
  if (type === 'decimal') return null;  // JavaScript has lost its text; and R5 publishes one that does not compile
  const value = structures.get(type).snapshot.element.find((e) => e.path === `${type}.value`);
  const regex = value?.type?.[0].extension?.find((e) => e.url.endsWith('/regex'))?.valueString;
  return regex ? new RegExp(`^(?:${fhirPattern(regex)})$`, 'u') : /^[^]+$/;
}

function primitiveFinding(type, form, value) {
  const due = JSON_TYPES[type] ?? 'string';
  if (typeof value !== due) return `${type} must be a JSON ${due}`;
  if (due === 'boolean') return null;
  if (value === '') return 'an empty string';
  if (type !== 'decimal' && !form.test(String(value))) return `not the form of ${type}`;
  if (due === 'number' && type !== 'decimal' && (value > 2147483647 || value < -2147483648))
    return `${type} beyond 32 bits`;
  if (['date', 'dateTime', 'instant'].includes(type) && !dayExists(value)) return 'no such day';
  if (type === 'base64Binary' && value.replace(/\s/g, '').length % 4) return 'base64 of a wrong length';
  return null;
}

/** What is wrong with a Reference, or null. `targets` empty means any type. */
function referenceFinding(structures, targets, reference) {
  const literal = reference.reference;
  let type = structures.has(reference.type) ? reference.type : null;
  if (typeof literal === 'string' && !literal.startsWith('#')) {
    if (!/^([A-Za-z][A-Za-z0-9+.-]*:|[A-Z][A-Za-z]+[/?])\S+$/.test(literal)) return 'a literal reference of no known form';
    const [, base, named, id] = /^(https?:\/\/\S+\/)?([A-Z][A-Za-z]+)\/([^/]+)(?:\/_history\/[^/]+)?$/.exec(literal) ?? [];
    if (named && structures.has(named)) {
      if (!/^[A-Za-z0-9.-]{1,64}$/.test(id)) return 'a literal reference with an id of a wrong form';
      if (type && type !== named) return `its type says ${type}, its literal reference ${named}`;
      type = named;
    } else if (named && !base) return `there is no resource type ${named}`;
  }
  if (!type || targets.length === 0 || targets.includes(type)) return null;
  return `refers to ${type}, allowed: ${targets.join(', ')}`;
}

/** Returns resource -> findings. */
export function structureJudge({ structures, valueSets, walker }) {
  const forms = new Map();
  const codes = new Map();  // value set url -> Set of codes, or null

  function formOf(type) {
    if (!forms.has(type)) forms.set(type, publishedForm(structures, type));
    return forms.get(type);
  }
  function requiredCodes(element) {
    const { strength, valueSet } = element.binding ?? {};
    if (strength !== 'required') return null;
    if (!codes.has(valueSet)) {
      const list = valueSets.codes(valueSet);
      codes.set(valueSet, list && new Set(list));
    }
    return codes.get(valueSet);
  }

  return (resource) => {
    const found = [];
    const tell = (at, text) => text && found.push(`${at}: ${text}`);
    walker.resource(resource, resource.resourceType, resource, {
      problem: tell,
      primitive(value, member, scope, at) {
        // Resource.id is typed as a string in 4.0.1; the specification's text says id.
        const type = scope.isRoot && member.name === 'id' ? 'id' : member.typeName;
        const problem = primitiveFinding(type, formOf(type), value);
        tell(at, problem);
        const allowed = problem ? null : requiredCodes(member.element);
        if (allowed && !allowed.has(value)) tell(at, `not in ${member.element.binding.valueSet}`);
      },
      complex(value, member, scope, at) {
        if (member.typeName === 'Reference')
          tell(at, referenceFinding(structures, targetTypes(member.type), value));
        else if (member.typeName === 'CodeableReference' && isObject(value.reference))
          tell(`${at}.reference`, referenceFinding(structures, targetTypes(member.type), value.reference));
      },
    });
    if (resource.resourceType === 'Bundle') found.push(...bundleFindings(resource));
    return found;
  };
}
