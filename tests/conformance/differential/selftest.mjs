// Proves the comparison itself: what it counts, which differences it lets stand, and that changes repeat.
import { BASES } from '../case_bases.mjs';
import { Differences, sort } from './differences.mjs';
import { KIND_NAMES, mutants } from './mutate.mjs';

let passed = 0;
let failed = 0;
function check(isRight, text) {
  if (isRight) passed++;
  else { failed++; console.log(`wrong: ${text}`); }
}

// [kind, text, ours, theirs, what sort() must count it as]
const observation = (reference) => JSON.stringify({ resourceType: 'Observation', subject: { reference } });
const wrongTarget = ['/subject/reference dwell:references a reference to: Patient'];
const companion = (value) => JSON.stringify({ resourceType: 'Task', _status: value });
const CASES = [
  ['removed', '{}', [], [], 'both_accept'],
  ['removed', '{}', ['/status required this member'], ['structure: Task.status is missing'], 'both_refuse'],
  ['removed', '{}', [], ['structure: Task.status is missing'], 'unexplained'],
  ['removed', '{}', ['/status required this member'], [], 'unexplained'],
  // A row that fits, and what lies beside it: another kind of change, another value, one finding more.
  ['conditional-reference', observation('Device?a=b'), wrongTarget, [], 'explained'],
  ['other-reference', observation('Device?a=b'), wrongTarget, [], 'unexplained'],
  ['conditional-reference', observation('Device/1'), wrongTarget, [], 'unexplained'],
  ['conditional-reference', observation('Device?a=b'), [...wrongTarget, '/status required this member'], [], 'unexplained'],
  ['companion-of-an-id', companion({ id: 'a' }), ['/_status/extension required this member'], [], 'explained'],
  ['companion-of-an-id', companion({ id: 'a' }), ['/status required this member'], [], 'unexplained'],
  ['narrative-entity', '{"div":"a &nbsp; b"}', [], ['invariants: Task.text.div: txt-1 broken'], 'explained'],
  ['narrative-entity', '{"div":"<script>"}', [], ['invariants: Task.text.div: txt-1 broken'], 'unexplained'],
  ['exponent', '{}', ['/valueInteger type a whole number without fraction or exponent'], [], 'explained'],
  ['other-type', '{}', ['/valueInteger type a whole number without fraction or exponent'], [], 'unexplained'],
];
const log = console.log;
for (const [kind, text, ours, theirs, expected] of CASES) {
  console.log = () => {};  // the differences that sort() tells are meant here
  const totals = sort([{ place: 'here', kind, text, ours, theirs }], new Differences('4.0.1'));
  console.log = log;
  check(totals[expected] === 1, `${kind} ${text} ${[...ours, ...theirs]} counts as ${JSON.stringify(totals)}, not ${expected}`);
}

const releases = ['4.0.1', '5.0.0'].map((release) => new Differences(release));
for (const { rows } of releases)
  for (const row of rows) check(row.reason.length > 40 && row.count === 0, `a row without a reason: ${row.pattern.source}`);
for (const row of releases.flatMap((table) => table.rows))
  for (const kind of row.kinds ?? []) check(KIND_NAMES.includes(kind), `a row names no kind of change: ${kind}`);

const bases = Object.entries(BASES).map(([place, resource]) => ({ place, resource }));
const once = mutants(bases, 1000, 7);
check(JSON.stringify(mutants(bases, 1000, 7)) === JSON.stringify(once), 'the same seed must give the same changes');
check(JSON.stringify(mutants(bases, 1000, 8)) !== JSON.stringify(once), 'another seed must give others');
check(new Set(once.map((c) => c.text)).size === 1000, 'no two changed resources are alike');
const originals = new Set(bases.map(({ resource }) => JSON.stringify(resource)));
check(once.every((c) => !originals.has(c.text)), 'every change changes something');
const kinds = new Set(once.map((c) => c.kind));
for (const kind of KIND_NAMES) check(kinds.has(kind) || kind === 'companion-of-canonical', `${kind} was never made`);

console.log(`${passed} passed, ${failed} failed`);
process.exit(failed ? 1 : 0);
