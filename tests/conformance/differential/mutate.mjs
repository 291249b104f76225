// Makes one change to a resource, of a kind and at a place that a seeded generator chooses. The result may be
// right or wrong: judges say which.
const isObject = (v) => v !== null && typeof v === 'object' && !Array.isArray(v);

/** 32-bit numbers that depend on the seed alone (Marsaglia, "Xorshift RNGs", J Stat Softw 2003;8(14)). */
export class Dice {
  #state;
  constructor(seed) { this.#state = (seed * 2654435761 + 1) >>> 0 || 1; }
  below(count) {
    let x = this.#state;
    x ^= x << 13; x ^= x >>> 17; x ^= x << 5;
    this.#state = x >>> 0;
    return this.#state % count;
  }
  pick(list) { return list[this.below(list.length)]; }
}

/** Every place in a resource: {parent, key, value}. */
function places(value, found = []) {
  for (const key of Object.keys(value)) {
    const inner = value[key];
    found.push({ parent: value, key: Array.isArray(value) ? Number(key) : key, value: inner });
    if (inner !== null && typeof inner === 'object') places(inner, found);
  }
  return found;
}

const CHOICE = /^(value|effective|performed|occurrence|occurred|timing|deceased|author|reported|asNeeded)(?=[A-Z])/;
const CHOICE_TYPES = { String: 'text', DateTime: '2024-02-29', Boolean: true, Period: { start: '2024' }, Integer: 1,
  Quantity: { value: 2.5 }, Code: 'a', Reference: { reference: 'Patient/1' }, Nothing: 'x' };
const NOTE = 'http://a.example/x';
const XHTML = 'xmlns="http://www.w3.org/1999/xhtml"';

const set = (values) => (place, dice) => { place.parent[place.key] = structuredClone(dice.pick(values)); };
const isAny = () => true;
const isMember = (p) => isObject(p.parent);
const isText = (p) => typeof p.value === 'string' && p.key !== 'resourceType' && p.key !== 'div';
const isNumber = (p) => typeof p.value === 'number';
const isDate = (p) => isText(p) && /^\d{4}(-\d\d){0,2}(T|$)/.test(p.value);
const isPrimitive = (p) => isMember(p) && p.value !== null && typeof p.value !== 'object' && p.key !== 'resourceType';
const named = (...keys) => (p) => isText(p) && keys.includes(p.key);
const isChoice = (p) => isMember(p) && CHOICE.test(p.key);
const isNarrative = (p) => p.key === 'div' && typeof p.value === 'string';
const isType = (p) => p.key === 'resourceType' && isMember(p);

/** `value` under the name `key` instead of the place's own, at the same position. */
function rename({ parent, key }, name) {
  const members = Object.entries(parent);
  for (const [member] of members) delete parent[member];
  for (const [member, value] of members) parent[member === key ? name : member] = value;
}
const otherCase = (name) => (/[a-z]/.test(name[0]) ? name[0].toUpperCase() : name[0].toLowerCase()) + name.slice(1);

// [name, where it may be made, the change]
const KINDS = [
  ['removed', isAny, ({ parent, key }) => { if (Array.isArray(parent)) parent.splice(key, 1); else delete parent[key]; }],
  ['doubled', (p) => Array.isArray(p.parent), ({ parent, key, value }) => parent.splice(key, 0, structuredClone(value))],
  ['in-an-array', (p) => !Array.isArray(p.value), (p) => { p.parent[p.key] = [p.value]; }],
  ['out-of-its-array', (p) => Array.isArray(p.value) && p.value.length > 0, (p) => { p.parent[p.key] = p.value[0]; }],
  ['empty-array', isMember, set([[]])],
  ['empty-object', isAny, set([{}])],
  ['empty-text', isText, set([''])],
  ['null', isAny, set([null])],
  ['null-in-array', (p) => Array.isArray(p.value), (p, dice) => { p.value.splice(dice.below(p.value.length + 1), 0, null); }],
  ['other-type', isAny, set(['text', 5, -1, 2.5, true, { text: 'a' }, ['a']])],
  ['quoted-number', isNumber, (p) => { p.parent[p.key] = String(p.value); }],
  ['other-number', isNumber, set([-1, 0, 1.5, 2147483647, 2147483648, -2147483648])],
  ['quoted-truth', (p) => typeof p.value === 'boolean', (p) => { p.parent[p.key] = String(p.value); }],
  ['other-code', named('status', 'intent', 'priority', 'use', 'entryType', 'type', 'method', 'role', 'comparator', 'severity', 'mode'),
    set(['final', 'completed', 'active', 'order', 'official', 'entered-in-error', 'Completed', 'no-such-code', 'two words', ' x'])],
  ['other-coding', named('code', 'system', 'display'), set(['x', 'two words', 'two  spaces', 'http://a.example/s', 'relative', 'urn:oid:1.2.3'])],
  ['bad-date', isDate, set(['2024-02-30', '2024-13', '2024-1-1', '24', '2024-02-29T24:00:00Z', '2024-02-29T10:00Z',
    '2024-02-29T10:00:00', '2024-02-29T10:00:00+15:00', '2024-02-29T10:00:00.Z', '0000-01-01', '2023-02-29', '1900-02-29',
    '2024-04-31', '2024-00', '2024-02-29 10:00:00Z', '2024-02-29t10:00:00z', 'yesterday'])],
  ['time-without-zone', (p) => isDate(p) && p.value.includes('T'), (p) => { p.parent[p.key] = p.value.slice(0, 19); }],
  ['other-date', isDate, set(['2024', '2024-02', '2024-02-29', '2000-02-29', '2024-02-29T10:00:00.123456Z',
    '2000-02-29T23:59:60+14:00', '2024-12-31T00:00:00-00:00', '0001-01-01'])],
  ['bad-id', (p) => p.key === 'id' && isText(p), set(['a b', 'x'.repeat(64), 'x'.repeat(65), 'id_1', 'a/b', '\u00e9', 'A.b-9'])],
  ['other-uri', named('system', 'url', 'reference', 'fullUrl', 'source', 'instantiatesCanonical', 'uri'),
    set(['has space', ' http://a.example', 'a\tb', 'urn:uuid:not-one', 'urn:oid:9.x', 'a', 'http://a.example/\u00e9'])],
  ['other-reference', named('reference'), set(['Patient/1', 'Device/d-1', 'Device/d/_history/2', '#inside', 'Organization/o',
    'urn:uuid:0d6a52c4-9d0e-5c36-8f7a-3f6c1a2b4c01', 'http://other.example/r4/Procedure/7', 'https://other.example/Device/7/_history/1'])],
  ['reference-form', named('reference'), set(['Nothing/1', 'Patient/a b', 'Device', 'patient/1', 'Device/', 'Patient/a_b', '#a b', '#a_b', 'urn:uuid:not-one'])],
  ['reference-url', named('reference'), set(['https://other.example/a', 'http://other.example/r4/Nothing/7', 'https://other.example/r4/Nothing/7/_history/1',
    'http://other.example/r4/Patient/7', 'https://other.example/Device/7?a=b'])],
  ['conditional-reference', named('reference'), set(['Patient?identifier=a|b', 'Device?identifier=a|b', 'Observation?code=a', 'Device?', 'Nothing?a=b'])],
  ['versioned-reference', (p) => named('reference')(p) && /^[A-Z][A-Za-z]+\/[^/]+$/.test(p.value), (p) => { p.parent[p.key] = `${p.value}/_history/2`; }],
  ['reference-type', (p) => isObject(p.value) && ('reference' in p.value || 'identifier' in p.value),
    (p, dice) => { p.value.type = dice.pick(['Patient', 'Device', 'Group', 'Organization', 'Bundle', 'Nothing', 5]); }],
  ['spaces', isText, (p, dice) => { p.parent[p.key] = dice.pick([` ${p.value}`, `${p.value} `, `${p.value}\n`, `\t${p.value}`, `${p.value}  x`]); }],
  ['odd-characters', isText, (p, dice) => { p.parent[p.key] = dice.pick([`${p.value}\u00a0x`, `\u00a0${p.value}`, `${p.value}\u2028`, `\ufeff${p.value}`, '\u{1fa79}']); }],
  ['control-character', isText, (p, dice) => { p.parent[p.key] = p.value + dice.pick(['\u0007', '\u0000', '\u001f', '\u007f', '\u000b']); }],
  ['more', (p) => isObject(p.value), (p, dice) => { p.value[dice.pick(['wing', 'Status', 'valuestring', '_extra', '__proto', 'resourceType'])] = dice.pick(['x', 1, {}]); }],
  ['name-in-other-case', isMember, (p) => rename(p, otherCase(p.key))],
  ['name-misspelt', isMember, (p, dice) => rename(p, dice.pick([`${p.key}s`, p.key.slice(0, -1) || 'x', `_${p.key}`, `${p.key} `]))],
  ['companion', isPrimitive, (p, dice) => { p.parent[`_${p.key}`] = dice.pick([{ extension: [{ url: NOTE, valueString: 'a' }] },
    { id: 'a', extension: [{ url: NOTE, valueString: 'a' }] }, {}, 'a', { extension: [] }, { extension: [{ url: NOTE }] },
    { value: 'a' }, [{ extension: [{ url: NOTE, valueString: 'a' }] }]]); }],
  ['companion-of-null', isPrimitive, (p) => { p.parent[`_${p.key}`] = null; }],
  ['companion-of-narrative', isNarrative, (p) => { p.parent[`_${p.key}`] = { extension: [{ url: NOTE, valueInteger: p.value.length }] }; }],
  ['companion-of-an-id', isPrimitive, (p) => { p.parent[`_${p.key}`] = { id: 'a' }; }],
  ['companion-alone', isPrimitive, (p) => { p.parent[`_${p.key}`] = { extension: [{ url: NOTE, valueCode: 'unknown' }] }; delete p.parent[p.key]; }],
  ['required-as-companion', named('status', 'intent', 'recorded', 'method', 'severity'), (p) => { p.parent[`_${p.key}`] = { extension: [{ url: NOTE, valueString: p.value }] }; delete p.parent[p.key]; }],
  ['companion-of-canonical', named('instantiatesCanonical'), (p) => { p.parent[`_${p.key}`] = { extension: [{ url: NOTE, valueInteger: p.value.length }] }; }],
  ['companion-of-no-primitive', (p) => isMember(p) && isObject(p.value), (p) => { p.parent[`_${p.key}`] = { extension: [{ url: NOTE, valueString: 'a' }] }; }],
  ['second-choice', isChoice, (p, dice) => { const type = dice.pick(Object.keys(CHOICE_TYPES)); p.parent[CHOICE.exec(p.key)[0] + type] = CHOICE_TYPES[type]; }],
  ['other-choice', isChoice, (p, dice) => {
    const type = dice.pick(Object.keys(CHOICE_TYPES));
    delete p.parent[p.key];
    p.parent[CHOICE.exec(p.key)[0] + type] = CHOICE_TYPES[type];
  }],
  ['extension', (p) => isObject(p.value), (p, dice) => { p.value.extension = dice.pick([[{ url: NOTE, valueCode: 'b' }], [{ url: NOTE }],
    [{ valueString: 'no url' }], [{ url: NOTE, valueString: 'a', valueInteger: 1 }], [{ url: NOTE, extension: [{ url: 'in', valueBoolean: true }] }],
    { url: NOTE, valueString: 'a' }, [{ url: NOTE, valueNothing: 'a' }], [{ url: NOTE, valueQuantity: { value: 1 } }]]); }],
  ['modifier-extension', (p) => isObject(p.value), (p) => { p.value.modifierExtension = [{ url: NOTE, valueBoolean: true }]; }],
  ['wrong-nesting', (p) => isObject(p.value) && isMember(p), (p) => { p.parent[p.key] = { [p.key]: p.value }; }],
  ['moved-up', (p) => isObject(p.value) && isObject(p.parent), ({ parent, value }) => Object.assign(parent, structuredClone(value))],
  ['narrative', isNarrative, set([`<div ${XHTML}></div>`, `<div ${XHTML}> </div>`,
    `<div ${XHTML}><script>a()</script>b</div>`, `<div ${XHTML}>a<br></div>`, `<p ${XHTML}>a</p>`, `<div ${XHTML} onclick="a()">b</div>`, 'plain',
    `<div ${XHTML}>a &#160; b</div>`, `<div ${XHTML}><p>right</p></div>`, `<div ${XHTML}><p class="x">a</p><img src="a" alt="b"/></div>`,
    `<div ${XHTML}><iframe src="a"/>b</div>`, `<div ${XHTML}>a</div><div>b</div>`])],
  ['narrative-without-namespace', isNarrative, set(['<div>no namespace</div>', '<div><p>none</p></div>', '<div title="a">none</div>'])],
  ['narrative-entity', isNarrative, set([`<div ${XHTML}>a &nbsp; b</div>`, `<div ${XHTML}><p>a&nbsp;</p></div>`, `<div ${XHTML}>&lt;a&gt; &amp; b</div>`,
    `<div ${XHTML}>a &unknown; b</div>`, `<div ${XHTML}>a & b</div>`])],
  ['contained', isType, (p, dice) => { p.parent.contained = [dice.pick([{ resourceType: 'Device', id: 'in' }, { resourceType: 'Patient', id: 'in' },
    { id: 'in' }, { resourceType: 'Nothing', id: 'in' }, { resourceType: 'Device', id: 'in', contained: [{ resourceType: 'Device', id: 'deep' }] }])]; }],
  ['other-resource-type', isType, set(['Observation', 'Device', 'Task', 'Procedure', 'Nothing', 'observation', '', 5])],
];

/** The replacement of a text, made at one of the places where `regex` (global) finds something. */
function replaceOne(text, regex, replacement, dice) {
  const found = [...text.matchAll(regex)];
  if (found.length === 0) return text;
  const at = dice.pick(found);
  const [all] = at;
  return text.slice(0, at.index) + replacement(at, dice) + text.slice(at.index + all.length);
}
const NUMBER = /([:[])(-?\d+(?:\.\d+)?)(?=[,}\]])/g;
const renumber = (forms) => (text, dice) =>
  replaceOne(text, NUMBER, ([, before, number], d) => before + d.pick(forms)(number), dice);

// Changes that only the characters can show. [name, the change]
const TEXT_KINDS = [
  ['repeated-member', (text, dice) => replaceOne(text, /"(\w+)":("[^"\\]*")/g, ([all]) => `${all},${all}`, dice)],
  ['exponent', renumber([(n) => `${n}e0`, (n) => `${n}E+2`, (n) => `${n}e-1`, () => '1e40'])],
  ['illegal-number', renumber([(n) => `0${n}`, (n) => `+${n}`, (n) => `${n}.`, () => 'NaN', (n) => `0x${n}`, () => '.5'])],
  ['long-number', renumber([(n) => `${n}${n.includes('.') ? '' : '.'}000`, () => '1.00', () => '-0', () => '12345678901234567890.123456789'])],
  ['cut-off', (text, dice) => text.slice(0, text.length - 1 - dice.below(20))],
  ['comma', (text, dice) => replaceOne(text, /[}\]]/g, ([all]) => `,${all}`, dice)],
  ['escape', (text, dice) => replaceOne(text, /(?<=[:[,]")[A-Za-z]/g, ([c], d) => d.pick([`\\u00${c.charCodeAt(0).toString(16)}`, '\\x', '\\ud800']), dice)],
  ['more-behind', (text, dice) => text + dice.pick(['}', ' ', '{}', 'x'])],
];

/** The names of all kinds of change. */
export const KIND_NAMES = [...KINDS, ...TEXT_KINDS].map(([name]) => name);

/** One change of the kind with that index: {kind, text}; null where it finds no place or changes nothing. */
export function mutate(resource, kindIndex, dice) {
  const before = JSON.stringify(resource);
  if (kindIndex >= KINDS.length) {
    const [kind, change] = TEXT_KINDS[kindIndex - KINDS.length];
    const text = change(before, dice);
    return text === before ? null : { kind, text };
  }
  const copy = structuredClone(resource);
  const [kind, mayBe, change] = KINDS[kindIndex];
  const possible = places(copy).filter(mayBe);
  if (possible.length === 0) return null;
  change(dice.pick(possible), dice);
  const text = JSON.stringify(copy);
  return text === before ? null : { kind, text };
}

/**
 * `count` changed copies of the resources, no two alike, each kind of change as often as the next where it finds
 * places enough. bases: [{place, resource}], place says where it comes from. Returns [{place, kind, text}]; the same
 * for the same seed. Fails when so many changes cannot be made.
 */
export function mutants(bases, count, seed) {
  const dice = new Dice(seed);
  const seen = new Set();
  const made = [];
  const triesMax = 40;  // of one kind before the next one's turn
  for (let turn = 0; made.length < count; turn++) {
    if (turn > count * 4) throw new Error(`only ${made.length} of ${count} changes found a place`);
    for (let tries = 0; tries < triesMax; tries++) {
      const { place, resource } = dice.pick(bases);
      const changed = mutate(resource, turn % KIND_NAMES.length, dice);
      if (!changed || seen.has(changed.text)) continue;
      seen.add(changed.text);
      made.push({ place: `${place} ${changed.kind} ${made.length + 1}`, ...changed });
      break;
    }
  }
  return made;
}
