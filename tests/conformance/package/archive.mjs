// A package as any reader sees it: unpacked by tar, which is none of our code.
import { execFileSync } from 'node:child_process';
import fs from 'node:fs';
import path from 'node:path';
import { ROOT } from '../packages.mjs';

export const RELEASES = [
  { version: '4.0.1', release: 'r4', name: 'dwelld.line-care', core: 'hl7.fhir.r4.core' },
  { version: '4.3.0', release: 'r4b', name: 'dwelld.line-care.r4b', core: 'hl7.fhir.r4b.core' },
  { version: '5.0.0', release: 'r5', name: 'dwelld.line-care.r5', core: 'hl7.fhir.r5.core' },
];

export const archiveOf = ({ name }) => path.join(ROOT, 'build/fhir-package', `${name}-1.0.0.tgz`);
export const unpackedOf = ({ version }) => path.join(ROOT, 'build/conformance-package', version);

/** Unpacks a release's archive anew and reads it: {files: Map of path -> text, manifest, definitions, examples}. */
export function unpack(row) {
  const folder = unpackedOf(row);
  fs.rmSync(folder, { recursive: true, force: true });
  fs.mkdirSync(folder, { recursive: true });
  execFileSync('tar', ['-xzf', archiveOf(row), '-C', folder]);
  const files = new Map(fs.readdirSync(folder, { recursive: true })
    .filter((name) => fs.statSync(path.join(folder, name)).isFile()).sort()
    .map((name) => [name, fs.readFileSync(path.join(folder, name), 'utf8')]));
  const resources = (pattern) => [...files.keys()].filter((name) => pattern.test(name))
    .map((name) => JSON.parse(files.get(name)));
  return { files, manifest: JSON.parse(files.get('package/package.json')),
    definitions: resources(/^package\/[A-Z][^/]*\.json$/), examples: resources(/^package\/example\/[A-Z][^/]*\.json$/) };
}
