// Changes that break one rule of a profile's differential each: an element that must be there is taken away, one that
// must not be there is added, a fixed value or a bound code becomes another one that the base definition allows.

const SAMPLES = { boolean: true, code: 'x', uri: 'https://a.example/x', canonical: 'https://a.example/x', string: 'x',
  dateTime: '2026-01-01', integer: 1, Period: { start: '2026-01-01' }, CodeableConcept: { text: 'x' },
  CodeableReference: { concept: { text: 'x' } }, Reference: { display: 'x' }, Identifier: { value: 'x' },
  Extension: { url: 'https://a.example/x', valueBoolean: true }, Annotation: { text: 'x' }, Attachment: { title: 'x' },
  Quantity: { value: 1 }, Timing: { event: ['2026-01-01'] }, ContactPoint: { value: 'x' }, Count: { value: 1 } };

const isObject = (value) => value !== null && typeof value === 'object' && !Array.isArray(value);
const capital = (name) => name[0].toUpperCase() + name.slice(1);

/** The objects that hold the last name of `path` ("Task.restriction.period"), in a resource. */
function holders(resource, path) {
  let at = [resource];
  for (const name of path.split('.').slice(1, -1)) {
    const isChoice = name.endsWith('[x]');
    const stem = name.replace('[x]', '');
    const isIt = ([key]) => (isChoice ? new RegExp(`^${stem}[A-Z]`).test(key) : key === name);
    at = at.flatMap((one) => Object.entries(one).filter(isIt).flatMap(([, value]) => value)).filter(isObject);
  }
  return at;
}

const keysOf = (holder, name) => Object.keys(holder).filter((key) =>
  (name.endsWith('[x]') ? new RegExp(`^${name.slice(0, -3)}[A-Z]`).test(key) : key === name));

function without(holder, name) {
  const keys = keysOf(holder, name);
  for (const key of keys) delete holder[key];
  return keys.length > 0;
}

function added(holder, name, element) {
  const type = element.type?.[0].code;
  const isList = element.base ? element.base.max !== '1' : false;
  if (!(type in SAMPLES) || keysOf(holder, name).length > 0) return false;
  const key = name.endsWith('[x]') ? name.slice(0, -3) + capital(type) : name;
  holder[key] = isList ? [SAMPLES[type]] : SAMPLES[type];
  return true;
}

const isFixed = (element) => Object.keys(element).some((key) => /^(fixed|pattern)[A-Z]/.test(key));

/** Another value: for types and codes one that the base allows. */
const OTHERS = { intent: 'plan', status: 'on-hold', type: 'Group' };
function altered(holder, name) {
  if (typeof holder[name] !== 'string' || !(name in OTHERS) || holder[name] === OTHERS[name]) return false;
  holder[name] = OTHERS[name];
  return true;
}

function doubled(holder, name) {
  if (!Array.isArray(holder[name])) return false;
  holder[name].push(structuredClone(holder[name][0]));
  return true;
}

// [name of the kind, which elements of the differential, the change]
const CHANGES = [
  ['required-removed', (row) => row.min > 0, without],
  ['forbidden-added', (row) => row.max === '0', added],
  ['fixed-altered', (row) => isFixed(row) || row.binding?.strength === 'required', altered],
  ['one-doubled', (row) => row.max === '1', doubled],
];
const EACH = 3;  // resources for each rule

/** [{place, kind, text}] */
export function profileChanges(resources, profile) {
  const snapshot = new Map(profile.snapshot.element.map((element) => [element.id, element]));
  const made = new Map();
  for (const row of profile.differential.element.filter(({ id, path }) => path.includes('.') && !id.includes(':')))
    for (const [kind, applies, change] of CHANGES.filter(([, where]) => where(row))) {
      let count = 0;
      for (const resource of resources) {
        const copy = structuredClone(resource);
        const name = row.path.slice(row.path.lastIndexOf('.') + 1);
        const done = holders(copy, row.path).filter((holder) => change(holder, name, snapshot.get(row.id)));
        const text = JSON.stringify(copy);
        if (done.length === 0 || made.has(text)) continue;
        made.set(text, { place: `${kind} ${row.id}`, kind, text });
        if (++count === EACH) break;
      }
    }
  return [...made.values()];
}
