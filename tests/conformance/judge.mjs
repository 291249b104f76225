// Judges files of FHIR R4 resources: .ndjson (one resource a line) and .json (one resource); of a
// directory all such files, which then count as a complete set: a reference to a type that has
// resources there must find its resource. Exit 1 on any finding and when nothing was judged.
import fs from 'node:fs';
import path from 'node:path';
import { Worker } from 'node:worker_threads';
import { fileFindings } from './json_text.mjs';

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
export async function judgeTexts(texts) {
  const workers = Math.min(WORKERS_MAX, Math.ceil(texts.length / TEXTS_PER_WORKER_MIN));
  const shares = Array.from({ length: workers }, (_, w) => texts.filter((t, i) => i % workers === w));
  const results = await Promise.all(shares.map((share) => new Promise((resolve, reject) => {
    const worker = new Worker(new URL('./judge_worker.mjs', import.meta.url), { workerData: share });
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

async function main(places) {
  const found = [];  // [place, resource, layer, finding]
  const texts = places.flatMap(filesBelow).flatMap((file) => textsOf(file, found));
  const { layers, answers } = await judgeTexts(texts);
  for (const a of answers) found.push(...a.findings.map(([layer, text]) => [a.place, a.name, layer, text]));
  if (places.some((place) => fs.statSync(place).isDirectory())) found.push(...unresolved(answers));

  for (const finding of found.slice(0, PRINTED_MAX)) console.log(`${finding[0]} ${finding[1]} ${finding[2]}: ${finding[3]}`);
  if (found.length > PRINTED_MAX) console.log(`and ${found.length - PRINTED_MAX} findings more`);
  const types = new Map();
  for (const a of answers) types.set(a.type, (types.get(a.type) ?? 0) + 1);
  console.log(`judged: ${[...types].map(([type, count]) => `${count} ${type}`).join(', ') || 'nothing'}`);
  for (const layer of ['json', ...layers, 'set']) {
    const bad = new Set(found.filter((f) => f[2] === layer).map((f) => f[0])).size;
    const ms = answers.reduce((sum, a) => sum + (a.timesMs[layer] ?? 0), 0);
    console.log(`${layer}: findings on ${bad} of ${answers.length}${ms ? `, ${Math.round(ms)} ms` : ''}`);
  }
  const failed = new Set(found.map((f) => f[0])).size;
  if (answers.length === 0) console.log('there was nothing to judge: that counts as a failure');
  console.log(`${answers.filter((a) => !found.some((f) => f[0] === a.place)).length} passed, ${answers.length ? failed : 1} failed`);
  return failed || answers.length === 0 ? 1 : 0;
}
if (process.argv[1] === new URL(import.meta.url).pathname) {
  if (process.argv.length < 3) {
    console.log('usage: tests/conformance/run FILE_OR_DIRECTORY...');
    process.exit(64);
  }
  process.exit(await main(process.argv.slice(2)));
}
