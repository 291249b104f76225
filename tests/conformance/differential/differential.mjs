// Do schemas/fhir, as the program enforces them, and the outside judges say the same of resources with one change?
//   node differential.mjs PROGRAM [--release VERSION] [--seed N] [--count N] FILE_OR_DIRECTORY...
// PROGRAM: schema_verdicts. The resources to change: those of the places, our sound cases and, for R4, the official
// examples; of each place's files at most PER_FILE_MAX, evenly chosen. A difference must be explained whole by rows of
// differences.json, which say why it stands; a row that explains nothing fails. The line before the last tells the
// counts as JSON.
import { spawnSync } from 'node:child_process';
import fs from 'node:fs';
import path from 'node:path';
import { bundleFindings } from '../bundle_rules.mjs';
import { BASES } from '../case_bases.mjs';
import { judgeTexts } from '../judge.mjs';
import { HERE, releaseOf } from '../packages.mjs';
import { Differences, sort } from './differences.mjs';
import { KIND_NAMES, mutants } from './mutate.mjs';

// Invariants, and the rules between the entries of a Bundle, are left out: what no schema can say is not for schemas.
// But what a narrative may hold, and that nothing is contained in contained, FHIR says by invariants only (txt-1, txt-2,
// dom-2), and our schemas say it.
const LAYERS = ['json', 'official-schema', 'medplum-core', 'fhir-package', 'structure'];
const counts = ([layer, text]) => LAYERS.includes(layer) || (layer === 'invariants' && /: (txt-[12]|dom-2) /.test(text));
const PER_FILE_MAX = 40;

function resourcesOf(place) {
  const files = fs.statSync(place).isDirectory()
    ? fs.readdirSync(place, { recursive: true }).sort().map((name) => path.join(place, name)) : [place];
  return files.filter((file) => /\.(nd)?json$/.test(file)).flatMap((file) => {
    const whole = fs.readFileSync(file, 'utf8').trimEnd();
    const texts = file.endsWith('.ndjson') ? whole.split('\n') : [whole];
    const step = Math.max(1, Math.ceil(texts.length / PER_FILE_MAX));
    return texts.map((text, i) => ({ text, place: `${path.basename(file)}:${i + 1}` })).filter((t, i) => i % step === 0)
      .map(({ text, place: at }) => ({ place: at, resource: JSON.parse(text) }));
  });
}

/** Adds to each case `ours`: what our schemas find, as texts. */
function withOurs(program, release, cases) {
  const ran = spawnSync(program, ['--release', release],
    { input: cases.map((c) => `${c.text}\n`).join(''), maxBuffer: 1 << 28, encoding: 'utf8' });
  if (ran.status !== 0) throw new Error(`${program}: ${ran.error ?? ran.stderr}`);
  const lines = ran.stdout.trimEnd().split('\n').map((line) => JSON.parse(line));
  if (lines.length !== cases.length) throw new Error(`${lines.length} verdicts for ${cases.length} resources`);
  return cases.map((c, i) => ({ ...c, ours: lines[i].map((violation) => violation.join(' ')) }));
}

/** What the walk says of the entries of a Bundle towards each other. */
function betweenEntries(text) {
  const bundle = JSON.parse(text);
  return new Set(bundle.resourceType === 'Bundle' ? bundleFindings(bundle) : []);
}

/** Adds to each case `theirs`: what the outside judges find, as texts. */
async function withTheirs(release, cases) {
  const { answers } = await judgeTexts(cases, releaseOf(release));
  const byPlace = new Map(answers.map((a) => [a.place, a.findings]));
  return cases.map((c) => {
    const findings = byPlace.get(c.place).filter(counts);
    const between = findings.some(([, text]) => text.startsWith('Bundle')) ? betweenEntries(c.text) : new Set();
    return { ...c, theirs: findings.filter(([, text]) => !between.has(text)).map(([layer, text]) => `${layer}: ${text}`) };
  });
}

function printTotals(name, { both_accept, both_refuse, explained, unexplained }) {
  console.log(`${name}: both accept ${both_accept}, both refuse ${both_refuse}, `
    + `differ with a reason ${explained}, without ${unexplained}`);
}

/** The resources to change: [{place, kind, text, resource}]. */
function gather(release, places) {
  const known = release === '5.0.0' ? [] : Object.entries(BASES).map(([place, resource]) => ({ place, resource }));
  const examples = release === '4.0.1' ? [path.join(HERE, 'examples')] : [];
  return [...known, ...[...examples, ...places].flatMap(resourcesOf)].map(({ place, resource }, i) =>
    ({ place: `${i + 1}. ${place}`, kind: 'unchanged', resource, text: JSON.stringify(resource) }));
}

async function main([program, ...words]) {
  const option = (name, otherwise) => {
    const at = words.indexOf(name);
    return at < 0 ? otherwise : words.splice(at, 2)[1];
  };
  const release = option('--release', '4.0.1');
  const [seed, count] = [Number(option('--seed', 1)), Number(option('--count', 6000))];
  const differences = new Differences(release);
  const whole = withOurs(program, release, gather(release, words));
  // A resource that is refused as it is shows nothing when changed.
  const changed = withOurs(program, release, mutants(whole.filter((c) => c.ours.length === 0), count, seed));
  const judged = await withTheirs(release, [...whole, ...changed]);
  const before = sort(judged.slice(0, whole.length), differences);
  const after = sort(judged.slice(whole.length), differences);

  printTotals(`${whole.length} resources as they are`, before);
  printTotals(`${changed.length} changed resources, ${KIND_NAMES.length} kinds of change`, after);
  for (const row of differences.rows) console.log(`${String(row.count).padStart(6)}  ours ${row.ours}, ${row.pattern.source}: ${row.reason}`);
  const unused = differences.rows.filter((row) => row.count === 0);
  for (const row of unused) console.log(`a row that explains nothing: ${row.pattern.source}`);
  const unexplained = before.unexplained + after.unexplained;
  const failed = unexplained + unused.length;
  const resources = whole.length + changed.length;
  console.log(JSON.stringify({ judge: 'bundled schemas against outside judges', release, resources,
    errors: failed, warnings: 0, ...after }));
  console.log(`${resources - unexplained} passed, ${failed} failed`);
  return failed ? 1 : 0;
}
process.exit(await main(process.argv.slice(2)));
