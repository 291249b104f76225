// Examples for the package: resources of the golden pairs, as they were sent, with the profile that they keep to.
import fs from 'node:fs';
import path from 'node:path';

const EXAMPLES_MAX = 6;  // of a profile

/** The golden pairs that a release's default configuration makes; a clock that was turned is part of the pair. */
function pairs(golden, version) {
  return fs.readdirSync(golden, { recursive: true }).filter((name) => path.basename(name) === 'out.json').sort()
    .map((name) => path.join(golden, path.dirname(name)))
    .filter((folder) => {
      const file = path.join(folder, 'setup');
      const words = fs.existsSync(file) ? fs.readFileSync(file, 'utf8').split('\n').filter(Boolean) : [];
      const release = words.find((word) => word.startsWith('release='))?.slice('release='.length) ?? '4.0.1';
      return release === version && words.every((word) => /^(release|now)=/.test(word));
    });
}

// Numbers keep their digits (2.50): between reading and writing they are strings that begin with U+0000.
const TOKENS = /"(?:[^"\\]|\\.)*"|-?\d+(?:\.\d+)?(?:[eE][+-]?\d+)?/g;
const readExactly = (text) =>
  JSON.parse(text.replace(TOKENS, (token) => (token[0] === '"' ? token : `"\\u0000${token}"`)));
export const writeExactly = (value) => JSON.stringify(value, null, 1).replace(/"\\u0000([^"]*)"/g, '$1');

/** What kind of example a resource is: one of each is enough. */
const kindOf = (resource) => JSON.stringify([resource.status, resource.code?.text, resource.activity?.coding?.[0].code]);

/**
 * Up to EXAMPLES_MAX resources for each profile, of different kinds. A package holds an id once, so another
 * version of the same resource has a number behind its id. R4B writes what R4 writes.
 * To be written by writeExactly(). */
export function examples(golden, version, profiles) {
  const byType = new Map(profiles.map((profile) => [profile.type, { profile, kinds: new Set(), found: [] }]));
  const versions = new Map();
  for (const folder of pairs(golden, version === '4.3.0' ? '4.0.1' : version)) {
    const bundle = readExactly(fs.readFileSync(path.join(folder, 'out.json'), 'utf8'));
    for (const { resource } of bundle.entry) {
      const row = byType.get(resource.resourceType);
      if (!row) throw new Error(`no profile of ${resource.resourceType}`);
      const kind = kindOf(resource);
      if (row.found.length === EXAMPLES_MAX || row.kinds.has(kind)) continue;
      row.kinds.add(kind);
      const nth = (versions.get(resource.id) ?? 0) + 1;
      versions.set(resource.id, nth);
      const id = nth === 1 ? resource.id : `${resource.id}-v${nth}`;
      const { url, version: of } = row.profile;
      row.found.push({ ...resource, id, meta: { ...resource.meta, profile: [`${url}|${of}`] } });
    }
  }
  for (const [type, { found }] of byType)
    if (found.length < 2) throw new Error(`${found.length} examples of ${type} in the golden pairs`);
  return [...byType.values()].flatMap(({ found }) => found);
}
