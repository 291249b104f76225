// Judges files of FHIR resources: .ndjson (one resource a line) and .json (one resource); of a directory all such
// files, which then count as a complete set: a reference to a type that has resources there must find its
// resource. Exit 1 on any error and when nothing was judged; warnings are told and counted.
import fs from 'node:fs';
import path from 'node:path';
import { Worker } from 'node:worker_threads';
import { fileFindings } from './json_text.mjs';
import { releaseOf } from './packages.mjs';

const WORKERS_MAX = 2;
const TEXTS_PER_WORKER_MIN = 100;  // a worker needs seconds to start
const PRINTED_MAX = 200;

function textsOf(file, found) {
  const bytes = fs.readFileSync(file);
  found.push(...fileFindings(bytes).map((finding) => [file, '-', 'json', finding]));
  if (file.endsWith('.json')) return [{ place: file, text: bytes.toString('utf8') }];
  const lines = bytes.toString('utf8').split('\n');
  if (lines.at(-1) === '') lines.pop();
  return lines.map((text, i) => ({ place: `${file}:${i + 1}`, text }));
}

function filesBelow(place) {
  if (!fs.statSync(place).isDirectory()) return [place];
  return fs.readdirSync(place, { recursive: true }).map((name) => path.join(place, name))
    .filter((name) => /\.(ndjson|json)$/.test(name)).sort();
}

/** Shares `texts` among workers; returns {layers, answers}. */
export async function judgeTexts(texts, release = 'r4') {
  const workers = Math.min(WORKERS_MAX, Math.ceil(texts.length / TEXTS_PER_WORKER_MIN));
  const shares = Array.from({ length: workers }, (_, w) => texts.filter((t, i) => i % workers === w));
  const results = await Promise.all(shares.map((share) => new Promise((resolve, reject) => {
    const worker = new Worker(new URL('./judge_worker.mjs', import.meta.url), { workerData: { release, texts: share } });
    worker.once('message', resolve);
    worker.once('error', reject);
  })));
  return { layers: results[0]?.layers ?? [], answers: results.flatMap((r) => r.answers) };
}

function unresolved(answers) {
  const types = new Set(answers.map((a) => a.type));
  const names = new Set(answers.map((a) => a.name));
  return answers.flatMap((a) => a.references
    .filter((reference) => types.has(reference.split('/')[0]) && !names.has(reference))
    .map((reference) => [a.place, a.name, 'set', `${reference} is not in the set`]));
}

/**
 * Judges the files of `places` by every layer. Returns {found, warned, answers, rows}: found and warned are
 * lists of [place, resource, layer, text], rows {judge, resources, errors, warnings, ms}, counting resources.
 */
export async function judgePlaces(places, release) {
  const found = [];
  const texts = places.flatMap(filesBelow).flatMap((file) => textsOf(file, found));
  const { layers, answers } = await judgeTexts(texts, release);
  const listed = (name) => answers.flatMap((a) => a[name].map(([layer, text]) => [a.place, a.name, layer, text]));
  found.push(...listed('findings'));
  const warned = listed('warnings');
  if (places.some((place) => fs.statSync(place).isDirectory())) found.push(...unresolved(answers));
  const placesIn = (list, layer) => new Set(list.filter((f) => f[2] === layer).map((f) => f[0])).size;
  const rows = ['json', ...layers, 'set'].map((layer) => ({ judge: layer, resources: answers.length,
    errors: placesIn(found, layer), warnings: placesIn(warned, layer),
    ms: Math.round(answers.reduce((sum, a) => sum + (a.timesMs[layer] ?? 0), 0)) }));
  return { found, warned, answers, rows };
}

function printSome(list, what) {
  for (const [place, name, layer, text] of list.slice(0, PRINTED_MAX)) console.log(`${place} ${name} ${what}${layer}: ${text}`);
  if (list.length > PRINTED_MAX) console.log(`and ${list.length - PRINTED_MAX} ${what || 'findings '}more`);
}

/** Prints findings, types and the rows; returns {passed, failed} resources. */
export function report({ found, warned, answers, rows }) {
  printSome(found, '');
  printSome(warned, 'warning ');
  const types = new Map();
  for (const a of answers) types.set(a.type, (types.get(a.type) ?? 0) + 1);
  console.log(`judged: ${[...types].map(([type, count]) => `${count} ${type}`).join(', ') || 'nothing'}`);
  for (const row of rows) console.log(JSON.stringify(row));
  if (answers.length === 0) console.log('there was nothing to judge: that counts as a failure');
  const bad = new Set(found.map((f) => f[0]));
  return { passed: answers.filter((a) => !bad.has(a.place)).length, failed: answers.length ? bad.size : 1 };
}

async function main(args) {
  let version = '4.0.1';
  if (args[0] === '--release') [, version] = args.splice(0, 2);
  const release = releaseOf(version);
  if (!release || args.length === 0) {
    console.log('usage: tests/conformance/run [--release 4.0.1|4.3.0|5.0.0] FILE_OR_DIRECTORY...');
    return 64;
  }
  const { passed, failed } = report(await judgePlaces(args, release));
  console.log(`${passed} passed, ${failed} failed`);
  return failed ? 1 : 0;
}
if (process.argv[1] === new URL(import.meta.url).pathname) process.exit(await main(process.argv.slice(2)));
