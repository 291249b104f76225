// build.mjs TOP MODULES OUT: writes the conformance package of every FHIR release into OUT. Layout: the FHIR NPM
// Package Specification (confluence.hl7.org, "NPM Package Specification"): package/package.json, package/.index.json,
// one resource a file; examples in package/example with an index of their own.
import fs from 'node:fs';
import path from 'node:path';
import { completeProfiles } from '../../schemas/fhir/snapshot.mjs';
import { archive } from './archive.mjs';
import { capability } from './capability.mjs';
import { toR5 } from './conceptmap_r5.mjs';
import { examples, writeExactly } from './examples.mjs';

const [top, modules, out] = process.argv.slice(2);
const NAME = 'dwelld.line-care';
const RELEASES = [
  { release: 'r4', version: '4.0.1', suffix: '', core: 'hl7.fhir.r4.core' },
  { release: 'r4b', version: '4.3.0', suffix: '.r4b', core: 'hl7.fhir.r4b.core' },
  { release: 'r5', version: '5.0.0', suffix: '.r5', core: 'hl7.fhir.r5.core' },
];

const readJson = (...place) => JSON.parse(fs.readFileSync(path.join(top, ...place), 'utf8'));
const readAll = (folder, ending) => fs.readdirSync(path.join(top, folder)).filter((name) => name.endsWith(ending)).sort()
  .map((name) => readJson(folder, name));
const softwareVersion =
  /project\(dwelld VERSION (\S+)/.exec(fs.readFileSync(path.join(top, 'CMakeLists.txt'), 'utf8'))[1];

/** The one value that a member has in all resources that have it. */
function shared(resources, member) {
  const values = [...new Set(resources.map((one) => one[member]).filter((value) => value !== undefined))];
  if (values.length !== 1) throw new Error(`not one ${member} but: ${values}`);
  return values[0];
}

const ESCAPES = { '&': '&amp;', '<': '&lt;', '>': '&gt;' };
const escaped = (text) => text.replace(/[&<>]/g, (character) => ESCAPES[character]);

/** With the date, and a narrative of title and description. */
function finished({ resourceType, id, ...rest }, date) {
  const paragraphs = [`<b>${escaped(rest.title)}</b>`, ...rest.description.split('\n\n').map(escaped)];
  const div = `<div xmlns="http://www.w3.org/1999/xhtml">${paragraphs.map((one) => `<p>${one}</p>`).join('')}</div>`;
  return { resourceType, id, text: { status: 'generated', div }, date, ...rest };
}

/** Everything but the examples. */
function definitions({ release, version: fhirVersion }) {
  const { profiles, valueSets } = completeProfiles(release, modules);
  const maps = readAll('mapping/codes', '.conceptmap.json');
  const all = [
    ...profiles, ...valueSets,
    ...readAll('mapping/codes/valuesets', '.valueset.json'),
    ...readAll('mapping/codes', '.codesystem.json'),
    ...readAll('deploy/fhir-package-files', '.codesystem.json'),
    ...(release === 'r5' ? maps.map(toR5) : maps),
  ];
  const version = shared(all, 'version');
  const date = shared(all, 'date');
  const source = readJson('deploy/fhir-package-files/client.capabilitystatement.json');
  all.push(capability(source, { fhirVersion, profiles, version, date, softwareVersion }));
  return { profiles, version, date, all: all.map((one) => finished(one, date)) };
}

const INDEXED = ['resourceType', 'id', 'url', 'version', 'kind', 'type', 'supplements', 'content'];
const indexRow = (filename, resource) => ({ filename, ...Object.fromEntries(
  INDEXED.filter((name) => typeof resource[name] === 'string').map((name) => [name, resource[name]])) });

/** Adds the resources, a file each, and their index. */
function addFolder(files, folder, resources) {
  const rows = [];
  for (const resource of resources) {
    const name = `${resource.resourceType}-${resource.id}.json`;
    if (files.has(`${folder}/${name}`)) throw new Error(`twice in the package: ${name}`);
    files.set(`${folder}/${name}`, `${writeExactly(resource)}\n`);
    rows.push(indexRow(name, resource));
  }
  rows.sort((a, b) => (a.filename < b.filename ? -1 : 1));
  files.set(`${folder}/.index.json`, `${JSON.stringify({ 'index-version': 2, files: rows }, null, 1)}\n`);
}

/** The notices that the codes in the package require. */
const notice = (resources) => [...new Set(resources.flatMap((one) => (one.copyright ?? '').split('\n')))]
  .filter(Boolean).map((line) => `${line}\n`).join('\n');

function manifest({ version: fhirVersion, suffix, core }, version, date) {
  return {
    name: NAME + suffix,
    version,
    'tools-version': 3,
    type: 'Conformance',
    date: `${date.replaceAll('-', '')}000000`,
    license: 'not-open-source',
    canonical: 'https://dwelld.example/fhir',
    url: 'https://dwelld.example/fhir',
    title: 'Vascular lines: insertion, checks, removal and what is due',
    description: 'Profiles, value sets, codes, code maps and examples of what dwelld writes about vascular lines.',
    fhirVersions: [fhirVersion],
    dependencies: { [core]: fhirVersion },
    keywords: ['vascular access', 'peripheral cannula', 'phlebitis'],
    author: 'The dwelld project',
    maintainers: [{ name: 'The dwelld project' }],
    directories: { lib: 'package', example: 'example' },
  };
}

function build(row) {
  const { profiles, version, date, all } = definitions(row);
  const files = new Map();
  addFolder(files, 'package', all);
  addFolder(files, 'package/example', examples(path.join(top, 'tests/golden'), row.version, profiles));
  files.set('package/package.json', `${JSON.stringify(manifest(row, version, date), null, 1)}\n`);
  files.set('package/other/notice.txt', notice(all));
  const name = `${NAME}${row.suffix}-${version}.tgz`;
  fs.writeFileSync(path.join(out, name), archive(files, Date.parse(date) / 1000));
  console.log(`${path.join(out, name)}: ${all.length} definitions, ${profiles.length} of them profiles, `
    + `${[...files.keys()].filter((file) => file.startsWith('package/example/')).length - 1} examples`);
}

fs.rmSync(out, { recursive: true, force: true });
fs.mkdirSync(out, { recursive: true });
for (const row of RELEASES) build(row);
