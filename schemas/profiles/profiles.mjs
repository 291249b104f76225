// Our profiles (StructureDefinitions with a differential only) and the ValueSets that they bind codes to, by release.
// R4B has the elements of R4 in all that we profile, so it has R4's profiles.
import fs from 'node:fs';
import path from 'node:path';
import { fileURLToPath } from 'node:url';

const HERE = path.dirname(fileURLToPath(import.meta.url));
const FOLDERS = { r4: 'r4', r4b: 'r4', r5: 'r5' };
const VERSIONS = { r4: '4.0.1', r4b: '4.3.0', r5: '5.0.0' };

/** The profiles and ValueSets of a release ("r4", "r4b", "r5"), each sorted by file name. */
export function readProfiles(release) {
  const folder = path.join(HERE, FOLDERS[release]);
  const all = fs.readdirSync(folder).sort()
    .map((name) => JSON.parse(fs.readFileSync(path.join(folder, name), 'utf8')));
  const ofType = (type) => all.filter((resource) => resource.resourceType === type);
  const profiles = ofType('StructureDefinition').map((profile) => ({ ...profile, fhirVersion: VERSIONS[release] }));
  return { profiles, valueSets: ofType('ValueSet') };
}
