// profiled.mjs VERSION FOLDER: the golden bundles of a release, each resource with the profile that it must keep to.
import fs from 'node:fs';
import path from 'node:path';
import { GOLDEN, golden } from '../whole/inputs.mjs';
import { RELEASES, unpack } from './archive.mjs';

const [version, folder] = process.argv.slice(2);
const { definitions } = unpack(RELEASES.find((row) => row.version === version));
const profiles = new Map(definitions.filter((one) => one.resourceType === 'StructureDefinition')
  .map(({ type, url, version: of }) => [type, `${url}|${of}`]));
fs.mkdirSync(folder, { recursive: true });
for (const file of golden(version)) {
  const bundle = JSON.parse(fs.readFileSync(file, 'utf8'));
  for (const { resource } of bundle.entry) resource.meta.profile = [profiles.get(resource.resourceType)];
  const name = path.relative(GOLDEN, path.dirname(file)).replaceAll('/', '-');
  fs.writeFileSync(path.join(folder, `${name}.json`), JSON.stringify(bundle));
}
