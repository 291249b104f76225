// Every judge over everything, then one table: judge, input, release, resources, errors, warnings.
//   node whole.mjs            what is missing of build/demo is made first
// Each step is a program that prints a row as JSON ({"judge":...,"resources":...}) for each judge in it. A step
// that fails without a row with errors counts as an error. Where a judge is slow it sees a part: "1 of N".
import { spawn, spawnSync } from 'node:child_process';
import fs from 'node:fs';
import path from 'node:path';
import { HERE, ROOT } from '../packages.mjs';
import { BUILD, DEMO, GOLDEN, RELEASES, filesIn, generated, golden, newest, sample } from './inputs.mjs';

const LOG = path.join(BUILD, 'log/conformance');
const BUNDLES_EVERY = 8;     // all newest versions are judged one by one as well
const NEWEST_EVERY = { '4.0.1': 1, '4.3.0': 4, '5.0.0': 2 };  // R4B judges the same resources as R4
const JVM_EVERY = 12;        // 50 resources a second
const MODELS_EVERY = 6;      // 650 resources a second

const judge = path.join(HERE, 'run');
const jvm = path.join(HERE, 'jvm/run');
const models = path.join(HERE, 'models/run');
const numbers = path.join(HERE, 'numbers.py');
const packageOf = (release) => path.join(BUILD, 'fhir-package',
  `dwelld.line-care${{ '4.0.1': '', '4.3.0': '.r4b', '5.0.0': '.r5' }[release]}-1.0.0.tgz`);

/** [input, release, program, arguments]; what the others read is made first. */
const makings = () => [
  ...RELEASES.map((r) => ['generated lives', r, path.join(BUILD, 'tests/many_events'), ['--release', r, generated(r)]]),
  ['conformance package', 'all', path.join(HERE, 'package/run'), []],
];

const part = (every) => (every === 1 ? '' : `, 1 of ${every}`);

const layers = (r) => {
  const every = NEWEST_EVERY[r];
  // A folder is a whole set, in which every reference must find its resource; some of its lines are not.
  const places = every === 1 ? [generated(r, 'latest')]
    : filesIn(sample(newest(r), every, generated(r, 'for-layers')));
  const bundles = sample([generated(r, 'bundles.ndjson')], BUNDLES_EVERY, generated(r, 'bundles'));
  return [
    [`generated, newest${part(every)}`, r, judge, ['--release', r, ...places]],
    [`generated bundles${part(BUNDLES_EVERY)}`, r, judge, ['--release', r, ...filesIn(bundles)]],
  ];
};

const others = (r) => {
  const few = sample(newest(r), JVM_EVERY, generated(r, 'for-jvm'));
  return [
    ['generated', r, numbers, ['whole', generated(r, 'events.ndjson'), generated(r, 'bundles.ndjson')]],
    [`generated, newest${part(MODELS_EVERY)}`, r, models,
      ['--release', r, '--every', String(MODELS_EVERY), generated(r, 'latest')]],
    [`generated, newest${part(JVM_EVERY)}`, r, jvm, ['--release', r, '--package', packageOf(r), '--part', few]],
  ];
};

const goldens = (r) => [
  ['golden bundles', r, judge, ['--release', r, ...golden(r)]],
  ['golden bundles', r, models, ['--release', r, ...golden(r)]],
];

const demo = () => {
  const place = path.join(DEMO, 'delivered');
  return [
    ['demo', '4.0.1', judge, [place]],
    ['demo', '4.0.1', models, ['--release', '4.0.1', place]],
    ['demo', '4.0.1', jvm, ['--release', '4.0.1', '--package', packageOf('4.0.1'), '--part', place]],
    ['demo', '4.0.1', path.join(HERE, 'servers/run'), []],
  ];
};

const judgings = () => [
  ['golden bundles', 'all', numbers, ['golden', GOLDEN]],
  ...RELEASES.flatMap(goldens),
  // In R4 and R5 the step of the package has it judge them.
  ['golden bundles', '4.3.0', jvm, ['--release', '4.3.0', '--package', packageOf('4.3.0'), '--part', ...golden('4.3.0')]],
  ...demo(),
  ...RELEASES.flatMap(layers),
  ...RELEASES.flatMap(others),
  ['changed resources', '4.0.1', path.join(HERE, 'differential/run'), [generated('4.0.1', 'latest')]],
  ['changed resources', '5.0.0', path.join(HERE, 'differential/run'),
    ['--release', '5.0.0', '--count', '3000', generated('5.0.0', 'latest'), ...golden('5.0.0')]],
];

/** A program's exit status and all it said. */
function said(program, args) {
  return new Promise((resolve) => {
    const child = spawn(program, args, { stdio: ['ignore', 'pipe', 'pipe'] });
    const parts = [];
    for (const stream of [child.stdout, child.stderr]) stream.on('data', (bytes) => parts.push(bytes));
    child.on('error', (error) => resolve({ status: 1, text: String(error) }));
    child.on('close', (status) => resolve({ status, text: Buffer.concat(parts).toString('utf8') }));
  });
}

/** Runs one step; gives back its rows. */
async function run([input, release, program, args]) {
  const name = path.relative(ROOT, program);
  const start = Date.now();
  const { status, text } = await said(program, args);
  const log = path.join(LOG, `${`${name} ${input} ${release}`.replace(/[^a-zA-Z0-9.]+/g, '-')}.txt`);
  fs.writeFileSync(log, text);
  const rows = text.split('\n').filter((line) => line.startsWith('{"judge":'))
    .map((line) => ({ input, release, ...JSON.parse(line) }));
  if (rows.length === 0 || (status !== 0 && !rows.some((row) => row.errors > 0)))
    rows.push({ judge: name, input, release, resources: 0, errors: 1, warnings: 0 });
  console.log(`${new Date().toTimeString().slice(0, 8)} ${name}, ${input}, ${release}: ${Math.round((Date.now() - start) / 1000)} s`);
  if (status !== 0) console.log(`${text.split('\n').slice(-15).join('\n')}\nthe whole output: ${log}`);
  return rows;
}

/** Runs the steps, two at a time; the rows in the steps' order. */
async function runAll(steps) {
  const rows = steps.map(() => []);
  let next = 0;
  const lane = async () => { while (next < steps.length) { const i = next++; rows[i] = await run(steps[i]); } };
  await Promise.all([lane(), lane()]);
  return rows.flat();
}

function print(rows) {
  const head = ['judge', 'input', 'release', 'resources', 'errors', 'warnings'];
  const lines = [head, ...rows.map((row) => head.map((name) => String(row[name])))];
  const widths = head.map((name, i) => Math.max(...lines.map((line) => line[i].length)));
  for (const line of lines)
    console.log(line.map((cell, i) => (i < 3 ? cell.padEnd(widths[i]) : cell.padStart(widths[i]))).join('  '));
}

/** Why each warning stands, and how often; gives back how many have a reason. */
function printReasons(rows) {
  const reasons = new Map();
  for (const row of rows)
    for (const [reason, count] of Object.entries(row.warnings_by_reason ?? {}))
      reasons.set(reason, (reasons.get(reason) ?? 0) + count);
  if (reasons.size) console.log('\nwarnings, and why each stands:');
  for (const [reason, count] of reasons) console.log(`${String(count).padStart(8)}  ${reason}`);
  return [...reasons.values()].reduce((a, b) => a + b, 0);
}

async function main() {
  fs.mkdirSync(LOG, { recursive: true });
  if (!fs.existsSync(path.join(DEMO, 'transactions.ndjson')) &&
      spawnSync(path.join(ROOT, 'deploy/demo'), ['--check'], { stdio: 'inherit' }).status !== 0) return 1;
  const rows = [...await runAll(makings()), ...await runAll(judgings())];
  console.log();
  print(rows);
  const explained = printReasons(rows);
  const sum = (name) => rows.reduce((total, row) => total + row[name], 0);
  const unexplained = sum('warnings') - explained;
  console.log(`\n${rows.length} rows, ${sum('resources')} judgements, ${sum('errors')} errors, ${sum('warnings')} warnings, `
    + `${unexplained} of them without a reason`);
  const failed = sum('errors') + unexplained;
  console.log(`${Math.max(0, sum('resources') - failed)} passed, ${failed} failed`);
  return failed ? 1 : 0;
}
process.exit(await main());
