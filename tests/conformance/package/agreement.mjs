// Changed resources for the reference validator, and the comparison of its verdicts with those of our bundled schemas.
//   agreement.mjs changes VERSION ABOUT.json IN.ndjson          writes the changed resources, one a line, and what was done
//   agreement.mjs compare VERSION ABOUT.json OURS THEIRS        compares; ends with "N passed, N failed"
// OURS and THEIRS hold a line for each of IN: a JSON array of what is wrong, [place, rule, words]; empty: accepted.
// Everything that only one of the two finds wrong must match a row of agreement.json. Which changes are made hangs on the
// golden pairs, so a row that is not needed this time is only told.
import fs from 'node:fs';
import path from 'node:path';
import { mutants } from '../differential/mutate.mjs';
import { HERE } from '../packages.mjs';
import { golden } from '../whole/inputs.mjs';
import { RELEASES, unpack } from './archive.mjs';
import { profileChanges } from './profile_changes.mjs';
import { finish, test } from './tally.mjs';

const CHANGED = 300;  // of each type
const SEED = 20261125;

/** The resources of the golden bundles, by type. */
function bases(version) {
  const byType = new Map();
  for (const file of golden(version))
    for (const { resource } of JSON.parse(fs.readFileSync(file, 'utf8')).entry) {
      const of = byType.get(resource.resourceType) ?? [];
      byType.set(resource.resourceType, [...of, { place: path.basename(path.dirname(file)), resource }]);
    }
  return byType;
}

/**
 * Whether the text is a resource of that type, each member once and all characters whole: what is not is judged before
 * any profile.
 */
function isOfType(text, type) {
  if (/\\u[dD][89a-fA-F]/.test(text)) return false;
  try {
    const value = JSON.parse(text);
    return value.resourceType === type && JSON.stringify(value) === text;
  } catch {
    return false;
  }
}

/** Those of the profile's own rules first, then changes of every kind. */
function changed(type, resources, profile) {
  const ofProfile = profileChanges(resources.map(({ resource }) => resource), profile);
  const others = mutants(resources, CHANGED * 2, SEED).filter(({ text }) => isOfType(text, type));
  const all = [...ofProfile, ...others].slice(0, Math.max(CHANGED, ofProfile.length));
  if (all.length < CHANGED) throw new Error(`only ${all.length} changes of ${type}`);
  return all.map(({ place, kind, text }) => ({ type, kind, place, text }));
}

function allChanged(version) {
  const { definitions } = unpack(RELEASES.find((row) => row.version === version));
  const byType = bases(version);
  return definitions.filter((one) => one.resourceType === 'StructureDefinition')
    .flatMap((profile) => changed(profile.type, byType.get(profile.type), profile));
}

const linesOf = (file) => fs.readFileSync(file, 'utf8').split('\n').filter(Boolean);

/** A difference as a text that a row's pattern is matched with. */
function told({ type, kind }, ours, theirs) {
  const [who, words] = ours.length ? ['ours refuses', ours] : ['theirs refuses', theirs];
  return words.map(([place, rule, text]) => `${who} ${type} ${kind}: ${rule} at ${place}: ${text}`);
}

function compare(version, about, oursFile, theirsFile) {
  const changes = JSON.parse(fs.readFileSync(about, 'utf8'));
  const [ours, theirs] = [oursFile, theirsFile].map(linesOf);
  const rows = JSON.parse(fs.readFileSync(path.join(HERE, 'package/agreement.json'), 'utf8'))
    .filter((row) => row.releases.includes(version)).map((row) => ({ ...row, regex: new RegExp(row.pattern), uses: 0 }));
  test('one verdict for each', () => (ours.length === changes.length && theirs.length === changes.length
    ? [] : [`${changes.length} changes, ${ours.length} of ours, ${theirs.length} of theirs`]));
  const counts = { refused: 0, accepted: 0, listed: 0 };
  changes.forEach((change, i) => {
    const [our, their] = [JSON.parse(ours[i]), JSON.parse(theirs[i])];
    if ((our.length === 0) === (their.length === 0)) {
      counts[our.length ? 'refused' : 'accepted']++;
      return test(change.place, () => []);
    }
    const differences = told(change, our, their);
    const unlisted = differences.filter((one) => !rows.some(({ regex }) => regex.test(one)));
    for (const row of rows) if (differences.some((one) => row.regex.test(one))) row.uses++;
    if (unlisted.length === 0) counts.listed++;
    return test(`${change.type} ${change.place}`, () => unlisted.slice(0, 1).map((one) => one.slice(0, 400)));
  });
  console.log(`${version}: both refuse ${counts.refused}, both accept ${counts.accepted}, listed differences ${counts.listed}`);
  for (const row of rows) console.log(`${String(row.uses).padStart(6)}  ${row.reason}`);
  return finish('our schemas as the reference validator with our profiles', version, changes.length);
}

function write(version, about, file) {
  const changes = allChanged(version);
  fs.writeFileSync(file, changes.map(({ text }) => `${text}\n`).join(''));
  fs.writeFileSync(about, JSON.stringify(changes.map(({ text, ...rest }) => rest)));
}

const [what, version, about, ...files] = process.argv.slice(2);
if (what === 'changes') write(version, about, ...files);
else process.exit(compare(version, about, ...files));
