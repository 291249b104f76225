// Our R4 profiles in a FHIR library of npm (@medplum/core 4.5.2, over the official R4 definitions): it indexes them,
// finds nothing wrong with the examples, and finds what is changed for the worse.
import { readResources } from '../../../schemas/fhir/definitions.mjs';
import { definitions, load } from '../packages.mjs';
import { RELEASES, unpack } from './archive.mjs';
import { finish, test } from './tally.mjs';

const { indexStructureDefinitionBundle, validateResource } = load('@medplum/core');

// [what, where it applies, the change]; each breaks a rule that only our profile has.
const CHANGES = [
  ['without meta.source', () => true, (one) => delete one.meta.source],
  ['without narrative', () => true, (one) => delete one.text],
  ['with implicitRules', () => true, (one) => { one.implicitRules = 'https://a.example/rules'; }],
  ['without system in its identifier', (one) => one.identifier, (one) => delete [one.identifier].flat()[0].system],
  ['with another fixed intent', (one) => one.intent, (one) => { one.intent = 'plan'; }],
  ['with a device that saw', (one) => one.resourceType === 'Observation', (one) => { one.device = { display: 'a' }; }],
];

function judge(resource, profile) {
  try {
    return validateResource(resource, { profile }).filter((issue) => issue.severity === 'error')
      .map((issue) => `${issue.expression}: ${issue.details.text}`);
  } catch (error) {
    return (error.outcome?.issue ?? [{ details: { text: error.message } }])
      .map((issue) => `${issue.expression}: ${issue.details?.text}`);
  }
}

/**
 * A profile as the library can index it. Where an element refers to another one's content it looks that up by path,
 * finds a slice of it (Provenance.agent:assembler) and stops; such an element (Provenance.entity.agent) is left out.
 */
const indexable = ({ snapshot, ...rest }) =>
  ({ ...rest, snapshot: { element: snapshot.element.filter((element) => !element.contentReference) } });

const pack = unpack(RELEASES[0]);
for (const file of ['profiles-types.json', 'profiles-resources.json'])
  indexStructureDefinitionBundle(readResources(definitions(), file));
const profiles = pack.definitions.filter((one) => one.resourceType === 'StructureDefinition');
indexStructureDefinitionBundle(profiles.map(indexable));
const profileOf = (resource) => indexable(profiles.find((one) => one.type === resource.resourceType));

for (const example of pack.examples) {
  test(`example ${example.resourceType}/${example.id}`, () => judge(example, profileOf(example)));
  for (const [what, applies, change] of CHANGES.filter(([, where]) => where(example)))
    test(`${example.resourceType}/${example.id} ${what}`, () => {
      const changed = structuredClone(example);
      change(changed);
      return judge(changed, profileOf(example)).length > 0 ? [] : ['passes'];
    });
}
process.exit(finish('@medplum/core with our profiles', '4.0.1', pack.examples.length));
