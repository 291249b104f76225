// What profiles add to a structure, as draft-04 schemas: patterns, slices, and invariants. These have the form
// "TERM or TERM", each TERM one of
//   a.b.exists()   a.exists().not()   a = 'code'   a != 'code'   extension('URL').exists()
// where a path names a member, or a choice without its type; or the form "a.exists() xor b.exists()". Anything else is
// an error: a rule of a profile that the schema would not enforce.

const DECORATION = ['id', 'path', 'short', 'sliceName'];
const NARROWING = ['min', 'max', 'type', 'binding', 'slicing', 'constraint'];

/** Throws when a row of a profile's differential says something that the schemas would not enforce. */
export function checkEnforced(profile) {
  for (const row of profile.differential.element) {
    const isSlice = row.id.includes(':');
    for (const name of Object.keys(row)) {
      const known = DECORATION.includes(name) || name.startsWith('pattern')
        || (isSlice ? ['min', 'max'] : NARROWING).includes(name);
      if (!known) throw new Error(`${profile.url} ${row.id}: ${name} would not be enforced`);
    }
    const children = profile.differential.element.some((other) => other.id.startsWith(`${row.id}.`));
    if (patternOf(row) !== undefined && children)
      throw new Error(`${profile.url} ${row.id}: a pattern and rows inside would not both be enforced`);
  }
}

/** A list with at least one item that fits: not all items do not. */
const contains = (schema) => ({ not: { items: { not: schema } } });

/** What has at least these values (FHIR's pattern). */
function valueSchema(value) {
  if (Array.isArray(value)) return { allOf: value.map((item) => contains(valueSchema(item))) };
  if (value === null || typeof value !== 'object') return { enum: [value] };
  return { required: Object.keys(value),
    properties: Object.fromEntries(Object.entries(value).map(([name, part]) => [name, valueSchema(part)])) };
}

const patternOf = (element) => Object.entries(element).find(([name]) => name.startsWith('pattern'))?.[1];

/** The schema of the element's pattern, or undefined. */
export function patternSchema(element) {
  const pattern = patternOf(element);
  return pattern === undefined ? undefined : valueSchema(pattern);
}

/** Of a slice's elements, what tells its items from others and must be there: its patterns. */
export function sliceSchema(slice, elements) {
  if (slice.min === 0) return undefined;
  if (slice.min > 1 || slice.max !== '*') throw new Error(`${slice.id}: a slice is 1..*`);
  const patterns = elements.filter((e) => e.id.startsWith(`${slice.id}.`) && patternSchema(e));
  const schema = { required: [], properties: {} };
  for (const element of patterns) {
    const name = element.id.slice(slice.id.length + 1);
    if (name.includes('.')) throw new Error(`${element.id}: a slice's patterns stand on its own members`);
    schema.required.push(name);
    schema.properties[name] = patternSchema(element);
  }
  return contains(schema);
}

const TERMS = [
  [/^extension\('([^']+)'\)\.exists\(\)$/, (url) => ({ required: ['extension'],
    properties: { extension: contains(valueSchema({ url })) } })],
  [/^([\w.]+)\.exists\(\)$/, (path, members) => pathSchema(path.split('.'), members)],
  [/^([\w.]+)\.exists\(\)\.not\(\)$/, (path, members) => ({ not: pathSchema(path.split('.'), members) })],
  [/^(\w+) = '([\w-]+)'$/, (name, members, code) => ({ required: [name], properties: { [name]: { enum: [code] } } })],
  [/^(\w+) != '([\w-]+)'$/, (name, members, code) => ({ not: { required: [name], properties: { [name]: { enum: [code] } } } })],
];

/** There is a member at the path; the first name may be a choice, which has one member for each type. */
function pathSchema([first, ...rest], members) {
  const alternatives = members(first).map((name) => ({ required: [name],
    ...(rest.length ? { properties: { [name]: pathSchema(rest, (inner) => [inner]) } } : {}) }));
  return alternatives.length === 1 ? alternatives[0] : { anyOf: alternatives };
}

function termSchema(term, members) {
  for (const [form, schema] of TERMS) {
    const found = form.exec(term);
    if (found) return schema(found[1], members, found[2]);
  }
  throw new Error(`not translatable: ${term}`);
}

/** members: name of an element -> the JSON members that hold it. */
const invariantSchema = (expression, members) =>
  ({ anyOf: expression.split(' or ').map((term) => termSchema(term, members)) });

const EITHER = /^(\w+)\.exists\(\) xor (\w+)\.exists\(\)$/;

/** Adds to an object's schema the invariant that a profile states on it. */
export function addInvariant(schema, expression) {
  const choices = schema['dwell:choices'] ?? [];
  const choiceOf = (name) => choices.find(({ of }) => of.every((member) => member.startsWith(name)));
  const members = (name) => choiceOf(name)?.of ?? [name];
  const either = EITHER.exec(expression)?.slice(1);
  if (!either) {
    schema.allOf = [...(schema.allOf ?? []), invariantSchema(expression, members)];
    return;
  }
  // Exactly one member of both: a choice, and it stands for the choices that it is made of.
  const others = choices.filter((choice) => !either.some((name) => choiceOf(name) === choice));
  schema['dwell:choices'] = [...others, { of: either.flatMap(members), min: 1 }];
}
