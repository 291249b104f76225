#!/usr/bin/env node
// Writes the ValueSets of this folder, one for each group of our CodeSystem: our codes of the group and what
// the free ConceptMap says for them. Those are the codes that the program sends where the group is meant.
//   node generate.mjs            write them
//   node generate.mjs --check    exit 1 if the files here differ from what would be written
import fs from 'node:fs';
import path from 'node:path';
import { fileURLToPath } from 'node:url';

const HERE = path.dirname(fileURLToPath(import.meta.url));
const read = (name) => JSON.parse(fs.readFileSync(path.join(HERE, '..', name), 'utf8'));
const system = read('line-care.codesystem.json');
const map = read('free.conceptmap.json');

// group of the CodeSystem: title, description.
const GROUPS = {
  action: ['Actions at a site check', 'What staff did, or decided to do, when they looked at the site of a line.'],
  answer: ['Answers', 'Whether something was done or is so.'],
  antiseptic: ['Skin antiseptics', 'What the skin was cleaned with before a line was put in or at a change of dressing.'],
  'device-action': ['Handling of a line', 'What a procedure did with the line.'],
  'device-property': ['Properties of a line', 'Size and length of a line.'],
  'dressing-condition': ['Condition of a dressing', 'How the dressing over a line was found.'],
  'dressing-type': ['Kinds of dressing', 'What covers or holds a line.'],
  'due-rule': ['What is due at a line', 'The rules that say what must be done at a line and by when.'],
  finding: ['Findings', 'Whether a sign is present. Not assessable is not absent.'],
  fluid: ['Fluids to flush with', 'What a line was flushed with.'],
  infusion: ['Infusions', 'What runs through a line, as far as it changes how often the site is looked at.'],
  'line-kind': ['Kinds of line', 'Kinds of vascular line.'],
  observation: ['Parts of a record', 'What the components of an Observation about a line tell.'],
  outcome: ['Outcome of an attempt', 'Whether the line was placed.'],
  'patient-group': ['Groups of patients', 'Who needs to be looked at more often.'],
  patency: ['Patency', 'How easily a line flushes.'],
  procedure: ['Procedures at a line', 'What was done at a line; finer where the kind of line is known.'],
  reason: ['Reasons', 'Why a line was not placed, was removed, must be removed, or why a record was withdrawn.'],
  record: ['Records of a line', 'Which record an Observation about a line is.'],
  role: ['Roles of staff', 'In which role somebody acted.'],
  scale: ['Scales', 'Scales by which the site of a line is graded.'],
  setting: ['Setting of an insertion', 'Whether a line was put in planned or in an emergency.'],
  side: ['Sides', 'The side of the body.'],
  sign: ['Signs at a site', 'What is looked for at the site of a line.'],
  site: ['Sites of a line', 'Where on the body a line lies; with the side where the target system has codes for it.'],
  stage: ['Stages of what is due', 'How near something due is, and how it ended.'],
  step: ['Steps of preparation', 'Steps before and during an insertion.'],
  'task-output': ['What settled a task', 'What the output of a Task is.'],
  vein: ['Veins', 'The vein in which a line lies.'],
};

const groupsOf = (concept) => concept.property.filter((p) => p.code === 'group').map((p) => p.valueCode);
const named = (group) => `LineCare-${group}`.replace(/-(.)/g, (all, letter) => letter.toUpperCase());

// Groups whose codes the program looks up together with a side or a kind of line (kQualifiers in vocabulary.h).
const QUALIFIED = ['site', 'procedure'];

/** Our codes, then for each target system of the map what it says for them; each once, in the order of the files. */
function includes(group, codes) {
  const include = [{ system: system.url, concept: codes.map((code) => ({ code })) }];
  for (const { target: url, element: elements } of map.group) {
    const targets = new Map();
    for (const element of elements.filter((e) => codes.includes(e.code)))
      for (const target of element.target.filter((t) => t.code && (!t.dependsOn || QUALIFIED.includes(group))))
        targets.set(target.code, { code: target.code, display: target.display });
    if (targets.size) include.push({ system: url, concept: [...targets.values()] });
  }
  return include;
}

/** The lines of the map's notice that are about those systems. */
const NOTICES = [['http://loinc.org', /LOINC/], ['http://snomed.info/sct', /SNOMED/], [/dicom|hl7/, /DICOM/]];
function notice(systems) {
  const wanted = NOTICES.filter(([of]) => systems.some((url) => url.search(of) >= 0)).map(([, line]) => line);
  const lines = map.copyright.split('\n').filter((line) => wanted.some((one) => one.test(line)));
  if (lines.length !== wanted.length) throw new Error('the notice of the map has other lines');
  return [system.copyright, ...lines].join('\n');
}

function valueSet(group) {
  const [title, description] = GROUPS[group];
  const include = includes(group, system.concept.filter((c) => groupsOf(c).includes(group)).map((c) => c.code));
  return {
    resourceType: 'ValueSet',
    id: `line-care-${group}`,
    url: `https://dwelld.example/fhir/ValueSet/line-care-${group}`,
    version: system.version,
    name: named(group),
    title,
    status: system.status,
    experimental: false,
    publisher: system.publisher,
    description: `${description} Our codes, and those of other systems that the free code map has for them. A site may add its own.`,
    copyright: notice(include.map((one) => one.system)),
    compose: { include },
  };
}

/** A concept a line. */
const print = (set) => `${JSON.stringify(set, (key, value) => (key === 'compose' ? undefined : value), 1).slice(0, -2)},
 "compose": {"include": [
${set.compose.include.map(({ system: url, concept }) => `  {"system": ${JSON.stringify(url)}, "concept": [\n${
  concept.map((one) => `    ${JSON.stringify(one)}`).join(',\n')}]}`).join(',\n')}
 ]}\n}\n`;

const groups = [...new Set(system.concept.flatMap(groupsOf))].sort();
const texts = new Map(groups.map((group) => {
  if (!GROUPS[group]) throw new Error(`the group ${group} has no title here`);
  return [`${group}.valueset.json`, print(valueSet(group))];
}));
const unused = Object.keys(GROUPS).filter((group) => !groups.includes(group));
if (unused.length) throw new Error(`groups that no code is of: ${unused}`);

const checks = process.argv.includes('--check');
const present = fs.readdirSync(HERE).filter((name) => name.endsWith('.json'));
let differing = 0;
for (const name of new Set([...present, ...texts.keys()])) {
  const file = path.join(HERE, name);
  const text = texts.get(name);
  if (!checks) {
    if (text === undefined) fs.rmSync(file);
    else fs.writeFileSync(file, text);
  } else if (text === undefined || !present.includes(name) || fs.readFileSync(file, 'utf8') !== text) {
    console.log(`differs from what CodeSystem and ConceptMap give: ${name}`);
    differing++;
  }
}
console.log(checks ? `${texts.size - differing} passed, ${differing} failed` : `${texts.size} files written`);
process.exit(differing ? 1 : 0);
