// What is judged: the golden bundles, the demo's output and the generated events, by FHIR release.
import fs from 'node:fs';
import path from 'node:path';
import { ROOT } from '../packages.mjs';

export const BUILD = path.join(ROOT, 'build');
export const GOLDEN = path.join(ROOT, 'tests/golden');
export const DEMO = path.join(BUILD, 'demo');
export const RELEASES = ['4.0.1', '4.3.0', '5.0.0'];

/** What many_events wrote for a release. */
export const generated = (release, ...names) => path.join(BUILD, 'many', release, ...names);

/** The word of a golden pair's `setup` that says for which release it is; without one: R4. */
function releaseOf(pair) {
  const setup = path.join(pair, 'setup');
  const words = fs.existsSync(setup) ? fs.readFileSync(setup, 'utf8') : '';
  return /release=(\S+)/.exec(words)?.[1] ?? '4.0.1';
}

/** The golden bundles of a release. R4B writes what R4 writes (tests/mapping/fhir proves it), so it has R4's. */
export function golden(release) {
  const written = release === '4.3.0' ? '4.0.1' : release;
  return fs.readdirSync(GOLDEN, { recursive: true }).filter((name) => path.basename(name) === 'out.json').sort()
    .map((name) => path.join(GOLDEN, name)).filter((file) => releaseOf(path.dirname(file)) === written);
}

/** Every `every`th line of those .ndjson files, in a folder of its own; gives back the folder. */
export function sample(files, every, folder) {
  fs.rmSync(folder, { recursive: true, force: true });
  fs.mkdirSync(folder, { recursive: true });
  for (const file of files) {
    const lines = fs.readFileSync(file, 'utf8').split('\n').filter((line, i) => line && i % every === 0);
    fs.writeFileSync(path.join(folder, path.basename(file)), lines.map((line) => `${line}\n`).join(''));
  }
  return folder;
}

export const filesIn = (folder) => fs.readdirSync(folder).sort().map((name) => path.join(folder, name));

/** The files of the newest version of every generated resource. */
export const newest = (release) => filesIn(generated(release, 'latest'));
