// Runs every layer over known good and known bad resources; see the script `selftest`.
import { execFileSync, spawnSync } from 'node:child_process';
import fs from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { addInvariant, checkEnforced } from '../../schemas/fhir/narrowing.mjs';
import { snapshotOf } from '../../schemas/fhir/snapshot.mjs';
import { bundledSchemasJudge } from './bundled_schemas.mjs';
import { BASES } from './case_bases.mjs';
import { fileFindings, repeatedNames } from './json_text.mjs';
import { makeLayers } from './layers.mjs';
import { HERE } from './packages.mjs';
import { fhirPattern } from './patterns.mjs';

// [case or example, layer]: a layer's own fault, by the R4 text; the other layers are right there.
const FALSE_ALARMS = [
  ['sound-12-Procedure-status+_status', 'fhir-package'],  // a required primitive may stand as _status only
  ['Bundle-bundle-references.json', 'fhir-package'],      // a reference may name a version
];
const DEFECTIVE_EXAMPLES = ['DeviceUseStatement-example.json'];  // see examples/SOURCE.txt
// These hold resource types that we never make; schemas/fhir takes our eight only.
const BEYOND_OUR_TYPES = ['Bundle-bundle-example.json', 'Bundle-bundle-references.json',
  'Bundle-bundle-response.json', 'Bundle-bundle-transaction.json', 'Bundle-xds.json'];

let passed = 0;
let failed = 0;
function check(isRight, text) {
  if (isRight) passed++;
  else { failed++; console.log(`wrong: ${text}`); }
}

const committed = fs.readFileSync(path.join(HERE, 'cases.ndjson'), 'utf8');
const made = execFileSync(process.execPath, [path.join(HERE, 'cases.mjs')], { maxBuffer: 1 << 24 }).toString();
check(committed === made, 'cases.ndjson is not what cases.mjs makes');

const examples = fs.readdirSync(path.join(HERE, 'examples')).filter((name) => name.endsWith('.json'))
  .map((name) => ({ id: name, judges: DEFECTIVE_EXAMPLES.includes(name) ? 'refuse' : 'accept',
    schemas: [...DEFECTIVE_EXAMPLES, ...BEYOND_OUR_TYPES].includes(name) ? 'refuse' : 'accept',
    resource: JSON.parse(fs.readFileSync(path.join(HERE, 'examples', name), 'utf8')) }));
const cases = committed.trimEnd().split('\n').map((line) => JSON.parse(line));
const all = [...examples, ...cases];
const bad = all.filter((c) => c.judges === 'refuse');
check(examples.length >= 60 && bad.length >= 100, 'too few examples or defects to prove anything');

const layers = makeLayers();
const finders = Object.fromEntries(layers.map((layer) => [layer.name, 0]));
for (const c of all) {
  const refusing = layers.map((layer) => [layer.name, layer.judge(c.resource).filter((f) => f.warning === undefined)]).filter(([, found]) => found.length);
  if (c.judges === 'refuse') {
    check(refusing.length > 0, `no layer finds the defect of ${c.id}`);
    for (const [name] of refusing) finders[name]++;
    continue;
  }
  const known = FALSE_ALARMS.filter(([id]) => id === c.id).map(([, name]) => name);
  check(refusing.map(([name]) => name).join() === known.join(),
    `${c.id} is sound, but ${refusing.map(([name, found]) => `${name} says ${found[0]}`).join('; ')}`);
}
console.log(`${all.length - bad.length} sound, ${bad.length} with a defect; of these each layer finds:`);
for (const [name, count] of Object.entries(finders)) {
  console.log(`  ${name} ${count}`);
  check(count > 0, `${name} finds nothing at all`);
}

const bundled = bundledSchemasJudge();
let refused = 0;
for (const c of all) {
  const found = bundled(c.resource);
  refused += found.length > 0;
  check((found.length > 0) === (c.schemas === 'refuse'), `schemas/fhir should ${c.schemas} ${c.id}: ${found.slice(0, 2).join('; ')}`);
}
console.log(`schemas/fhir under ajv refuses ${refused} of ${all.length}`);

// Layer json: what only the bytes tell.
check(repeatedNames('{"a":1,"b":{"a":"a\\":{}"},"c":[{"a":1},{"a":2}]}').length === 0, 'names that differ by place');
check(repeatedNames('{"a":{"b":1,"b":2}}').length === 1, 'a name that stands twice');
check(repeatedNames('{"b":1,"\\u0062" :2}').length === 1, 'a name that stands twice, once escaped');
check(fileFindings(Buffer.from('{"a":"é"}')).length === 0, 'UTF-8');
check(fileFindings(Buffer.from([0x22, 0xc3, 0x28, 0x22])).length === 1, 'bytes that are not UTF-8');
check(fileFindings(Buffer.from('\ufeff{}')).length === 1, 'a byte order mark');

// The judge as a whole, over a folder with two sound resources and four that are not.
const folder = fs.mkdtempSync(path.join(os.tmpdir(), 'judge-'));
const judgeFolder = () => spawnSync(process.execPath, [path.join(HERE, 'judge.mjs'), folder], { encoding: 'utf8' });
const nothing = judgeFolder();
check(nothing.status === 1 && nothing.stdout.endsWith('0 passed, 1 failed\n'), 'an empty folder must fail');
const { Device, DeviceUseStatement } = BASES;
const line = (resource) => `${JSON.stringify(resource)}\n`;
fs.writeFileSync(path.join(folder, 'Device.ndjson'), line(Device) + line({ ...Device, id: 'b', wing: 'left' })
  + `{"id":"c",${line(Device).slice(1)}` + '{"resourceType":\n');
fs.writeFileSync(path.join(folder, 'DeviceUseStatement.ndjson'), line(DeviceUseStatement)
  + line({ ...DeviceUseStatement, id: 'lost', device: { reference: 'Device/none' } }));
const whole = judgeFolder();
check(whole.status === 1 && whole.stdout.endsWith('2 passed, 4 failed\n'), `the judge of a folder says ${whole.stdout}`);
check(whole.stdout.includes('set: Device/none is not in the set'), 'a reference into nothing must be found');
fs.rmSync(path.join(folder, 'DeviceUseStatement.ndjson'));
fs.writeFileSync(path.join(folder, 'Device.ndjson'), line(Device));
check(judgeFolder().status === 0, 'a sound folder must pass');
fs.rmSync(folder, { recursive: true });

// Numbers: one pair whose resources keep 2.50, and the same with each way of losing it.
const pair = fs.mkdtempSync(path.join(os.tmpdir(), 'numbers-'));
const event = '{"kind":"flush","id":"e","source":"w","flush":{"fluid":"x","mL":2.50}}';
const bundleWith = (volume) => '{"entry":[{"resource":{"resourceType":"Observation","component":[{"code":{"text":"flush volume"},'
  + `"valueQuantity":{"value":${volume}}}]}},{"resource":{"resourceType":"Provenance","entity":[{"role":"source","what":`
  + '{"identifier":{"system":"https://a.example/source/w/event","value":"e"}}}]}}]}';
for (const [volume, isRight] of [['2.50', true], ['2.5', false], ['25e-1', false], ['2.500', false], ['"2.50"', false]]) {
  const [events, bundles] = [['events', event], ['bundles', bundleWith(volume)]].map(([name, text]) => {
    fs.writeFileSync(path.join(pair, name), `${text}\n`);
    return path.join(pair, name);
  });
  const ran = spawnSync('python3', [path.join(HERE, 'numbers.py'), 'whole', events, bundles]);
  check((ran.status === 0) === isRight, `numbers.py should ${isRight ? 'accept' : 'refuse'} ${volume} for 2.50`);
}
fs.rmSync(pair, { recursive: true });

// FHIR's expressions mean XML white space.
const isText = new RegExp(`^${fhirPattern('[ \\r\\n\\t\\S]+')}$`, 'u');
check(isText.test('no-break\u00a0space') && isText.test('\u{1fa79}') && !isText.test(''), 'any character but none at all');
check(!new RegExp(`^${fhirPattern('[^\\s]+(\\s[^\\s]+)*')}$`, 'u').test('two  spaces'), 'a code with two spaces');

// A rule of a profile that the generated schemas would not enforce stops the generator.
const throws = (call) => { try { call(); } catch { return true; } return false; };
const rows = (...element) => ({ url: 'u', differential: { element } });
for (const [profile, isRight] of [
  [rows({ id: 'Task.code', path: 'Task.code', short: 'x', min: 1, max: '1' }), true],
  [rows({ id: 'Task.code', path: 'Task.code', maxLength: 5 }), false],
  [rows({ id: 'Task.intent', path: 'Task.intent', fixedCode: 'order' }), false],
  [rows({ id: 'Task.input:a', path: 'Task.input', sliceName: 'a', min: 1 }), true],
  [rows({ id: 'Task.input:a', path: 'Task.input', sliceName: 'a', type: [{ code: 'string' }] }), false],
  [rows({ id: 'Task.for', path: 'Task.for', patternReference: { type: 'Patient' } },
    { id: 'Task.for.type', path: 'Task.for.type', min: 1 }), false],
]) check(throws(() => checkEnforced(profile)) !== isRight, `should ${isRight ? 'take' : 'refuse'} ${JSON.stringify(profile)}`);
for (const [expression, isRight] of [["status = 'x' or a.b.exists()", true], ['a.exists() xor b.exists()', true],
  ['a.exists() and b.exists()', false], ['a.count() = 1', false], ['a.exists() xor b.exists() or c.exists()', false]])
  check(throws(() => addInvariant({}, expression)) !== isRight, `invariant ${expression}`);
const task = { snapshot: { element: ['Task', 'Task.code', 'Task.focus'].map((id) => ({ id, path: id })) } };
const ordered = (...ids) => rows(...ids.map((id) => ({ id, path: id, min: 1 })));
check(!throws(() => snapshotOf(ordered('Task.code', 'Task.focus'), task, new Map())), 'rows in order');
check(throws(() => snapshotOf(ordered('Task.focus', 'Task.code'), task, new Map())), 'rows out of order');

console.log(`${passed} passed, ${failed} failed`);
process.exit(failed ? 1 : 0);
