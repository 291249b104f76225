// What the package must be by the FHIR NPM Package Specification (confluence.hl7.org, "NPM Package Specification":
// names, package.json, .index.json) and what it promises: every name leads somewhere, nothing is left behind.
import fs from 'node:fs';
import path from 'node:path';
import { ROOT } from '../packages.mjs';
import { golden } from '../whole/inputs.mjs';
import { RELEASES, unpack } from './archive.mjs';
import { rulesInSources } from './rules.mjs';
import { differences, finish, test } from './tally.mjs';

const CANONICAL = 'https://dwelld.example/fhir';
const ID = /^[A-Za-z0-9.-]{1,64}$/;  // R4, datatypes, id
const NOTICES = { 'http://loinc.org': 'http://loinc.org/license', 'http://snomed.info/sct': 'SNOMED' };

const read = (...place) => fs.readFileSync(path.join(ROOT, ...place), 'utf8');
const ofType = (resources, type) => resources.filter((one) => one.resourceType === type);
const bare = (canonical) => canonical.split('|')[0];

/** Every string below a value. */
const texts = (value) => (typeof value === 'string' ? [value]
  : value && typeof value === 'object' ? Object.values(value).flatMap(texts) : []);

function manifestFindings({ manifest }, { version, name, core }) {
  const found = [];
  const expect = (what, right) => { if (!right) found.push(what); };
  expect(`name ${manifest.name}`, manifest.name === name && /^[a-z][a-z0-9-]*(\.[a-z0-9-]+)+$/.test(manifest.name));
  expect(`version ${manifest.version}`, /^\d+\.\d+\.\d+$/.test(manifest.version));
  expect('fhirVersions', JSON.stringify(manifest.fhirVersions) === JSON.stringify([version]));
  expect('dependencies', JSON.stringify(manifest.dependencies) === JSON.stringify({ [core]: version }));
  expect('canonical', manifest.canonical === CANONICAL);
  for (const member of ['description', 'author', 'license', 'title']) expect(member, manifest[member]?.length > 0);
  expect('date', /^\d{14}$/.test(manifest.date));
  return found;
}

function indexFindings({ files }, folder) {
  const index = JSON.parse(files.get(`${folder}/.index.json`));
  const names = [...files.keys()].filter((name) => path.dirname(name) === folder && /\/[A-Z]/.test(name));
  const found = differences(names.map((name) => path.basename(name)), index.files.map((row) => row.filename));
  if (index['index-version'] !== 2) found.push('index-version');
  for (const { filename, ...row } of index.files) {
    const resource = JSON.parse(files.get(`${folder}/${filename}`) ?? '{}');
    for (const [member, value] of Object.entries(row)) if (resource[member] !== value) found.push(`${filename} ${member}`);
    if (filename !== `${resource.resourceType}-${resource.id}.json` || !ID.test(resource.id)) found.push(`name ${filename}`);
    for (const member of ['url', 'version']) if (resource[member] && !row[member]) found.push(`${filename}: no ${member}`);
  }
  return found;
}

const nameFindings = ({ definitions, manifest }) => definitions.flatMap((one) => [
  one.url === `${CANONICAL}/${one.resourceType}/${one.id}` ? [] : `${one.url} is not of ${one.id}`,
  one.version === manifest.version ? [] : `${one.url} has version ${one.version}`,
  one.text?.status === 'generated' ? [] : `${one.url} has no narrative`,
].flat());

/** Every canonical of ours that anything names is in the package. */
function danglingFindings({ definitions, examples }) {
  const known = new Set(definitions.map((one) => one.url));
  return [...new Set([...definitions, ...examples].flatMap(texts))]
    .filter((text) => new RegExp(`^${CANONICAL}/[A-Z][A-Za-z]+/[^#]+$`).test(text) && !known.has(bare(text)));
}

function profileFindings({ definitions }, { version }) {
  return ofType(definitions, 'StructureDefinition').flatMap((one) => [
    one.fhirVersion === version ? [] : `${one.id} is of FHIR ${one.fhirVersion}`,
    one.snapshot?.element.length > one.differential?.element.length ? [] : `${one.id} has no snapshot`,
  ].flat());
}

/** Our codes in ValueSets and ConceptMaps are in the CodeSystem, and all of the CodeSystem is in a ValueSet. */
function codeFindings({ definitions }) {
  const system = ofType(definitions, 'CodeSystem').find((one) => one.id === 'line-care');
  const listed = ofType(definitions, 'ValueSet').flatMap((set) => set.compose.include)
    .filter((include) => include.system === system.url).flatMap((include) => include.concept.map((one) => one.code));
  const mapped = ofType(definitions, 'ConceptMap').flatMap((map) => map.group).flatMap((group) => group.element)
    .map((element) => element.code);
  const codes = system.concept.map((one) => one.code);
  return [...differences(codes, listed), ...mapped.filter((code) => !codes.includes(code)).map((code) => `mapped: ${code}`)];
}

function noticeFindings({ definitions, files }) {
  const found = [];
  for (const one of definitions.filter((each) => ['ValueSet', 'ConceptMap'].includes(each.resourceType)))
    for (const [system, notice] of Object.entries(NOTICES))
      if (texts(one).includes(system) && !one.copyright.includes(notice)) found.push(`${one.id} has ${system} without notice`);
  for (const notice of [...Object.values(NOTICES), 'creativecommons.org/licenses/by/4.0', 'DICOM'])
    if (!files.get('package/other/notice.txt').includes(notice)) found.push(`notice.txt: ${notice}`);
  return found;
}

/** The types and interactions of the CapabilityStatement are those of the golden bundles, which mapping made. */
function capabilityFindings({ definitions }, { version }) {
  const [client] = ofType(definitions, 'CapabilityStatement')[0].rest;
  const entries = golden(version).flatMap((file) => JSON.parse(fs.readFileSync(file, 'utf8')).entry);
  const written = client.resource.filter((one) => one.interaction.some(({ code }) => code === 'update'));
  const requests = entries.filter(({ request, resource }) =>
    request.method !== 'PUT' || request.url !== `${resource.resourceType}/${resource.id}`);
  const inCode = [...read('mapping/fhir/meta.cc').matchAll(/Profile\{"(\w+)", DWELL_PROFILE\("([\w-]+)"\)\}/g)]
    .map(([, type, name]) => `${type} ${CANONICAL}/StructureDefinition/${name}|1.0.0`);
  const types = written.map((one) => one.type);
  const profiles = written.map((one) => `${one.type} ${one.supportedProfile}`);
  return [...differences(new Set(entries.map(({ resource }) => resource.resourceType)), types),
    ...requests.map(({ request }) => `not declared: ${request.method} ${request.url}`),
    ...profiles.filter((one) => !inCode.includes(one)).map((one) => `not what mapping writes: ${one}`),
    ...(entries.length > 0 ? [] : ['no golden bundle'])];
}

const numbersOf = (text) => text.replace(/"(?:[^"\\]|\\.)*"/g, '""').match(/-?\d+(?:\.\d+)?(?:[eE][+-]?\d+)?/g) ?? [];

function exampleFindings({ definitions, examples, files }, { version }) {
  const sent = golden(version).map((file) => fs.readFileSync(file, 'utf8'));
  const plain = (resource) => JSON.stringify({ ...resource, id: '', meta: '' });
  const known = new Set(sent.flatMap((text) => JSON.parse(text).entry.map(({ resource }) => plain(resource))));
  const digits = new Set(sent.flatMap(numbersOf));
  return [
    ...ofType(definitions, 'StructureDefinition').filter(({ url, version: of }) =>
      examples.filter((one) => one.meta.profile?.includes(`${url}|${of}`)).length < 2).map((one) => `examples of ${one.id}`),
    ...examples.filter((one) => !known.has(plain(one))).map((one) => `not a golden one: ${one.id}`),
    ...[...files].filter(([name]) => name.startsWith('package/example/') && !name.includes('.index'))
      .flatMap(([, text]) => numbersOf(text)).filter((number) => !digits.has(number)).map((number) => `never sent: ${number}`),
  ];
}

const allConceptMapTargets = ({ definitions }) =>
  ofType(definitions, 'ConceptMap').flatMap((map) => map.group.flatMap((group) => group.element.flatMap((element) =>
    element.target.map(({ code, dependsOn, product }) =>
      [map.id, group.target, element.code, code, dependsOn?.length ?? 0, product?.length ?? 0].join(' ')))));

let resources = 0;
const packages = RELEASES.map((row) => ({ row, pack: unpack(row) }));
for (const { row, pack } of packages) {
  resources += pack.definitions.length + pack.examples.length;
  const about = (what) => `${row.name} ${what}`;
  test(about('package.json'), () => manifestFindings(pack, row));
  test(about('index'), () => indexFindings(pack, 'package'));
  test(about('index of the examples'), () => indexFindings(pack, 'package/example'));
  test(about('names'), () => nameFindings(pack));
  test(about('canonicals that lead nowhere'), () => danglingFindings(pack));
  test(about('profiles'), () => profileFindings(pack, row));
  test(about('codes'), () => codeFindings(pack));
  test(about('notices'), () => noticeFindings(pack));
  test(about('CapabilityStatement'), () => capabilityFindings(pack, row));
  test(about('examples'), () => exampleFindings(pack, row));
  test(about('rules'), () => differences(rulesInSources(),
    ofType(pack.definitions, 'CodeSystem').find((one) => one.id === 'rule').concept.map((one) => one.code)));
  test(about('maps say the same in every release'), () =>
    differences(allConceptMapTargets(packages[0].pack), allConceptMapTargets(pack)));
}
process.exit(finish('the package by its specification', 'all', resources));
