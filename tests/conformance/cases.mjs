#!/usr/bin/env node
// Sound cases and cases with one defect each, for the judges (selftest) and for the bundled schemas
// (tests/schemas/fhir_cases_test.cc). Prints cases.ndjson, one object a line:
//   id; judges: what all layers together must say; schemas: what schemas/fhir must say; resource.
// The schemas leave invariants and rules between entries to others: they accept the group "beyond".
import { BASES, DEVICE_URN } from './case_bases.mjs';

const GONE = undefined;
const note = { url: 'https://hospital.example/x', valueString: 'a' };
const absent = { extension: [{ url: 'http://hl7.org/fhir/StructureDefinition/data-absent-reason', valueCode: 'unknown' }] };
const div = (inside) => ({ status: 'generated', div: `<div xmlns="http://www.w3.org/1999/xhtml">${inside}</div>` });
const cm = (value) => ({ value, unit: 'cm', system: 'http://unitsofmeasure.org', code: 'cm' });
const inner = { resourceType: 'Device', id: 'in', status: 'active' };

// [base, changes]: a change is path -> new value, GONE takes the member away.
const SOUND = [
  ...Object.keys(BASES).map((base) => [base, {}]),
  ['Procedure', { performedPeriod: GONE, _performedDateTime: absent }],
  ['Procedure', { status: GONE, _status: absent }],
  ['Procedure', { 'performer.0.onBehalfOf': { reference: 'https://other.example/r4/Organization/9' } }],
  ['Device', { _lotNumber: { extension: [note] } }],
  ['DeviceUseStatement', { contained: [inner], 'device.reference': '#in' }],
  ['DeviceUseStatement', { subject: { type: 'Patient', identifier: { system: 'urn:oid:1.2.36', value: '4' } } }],
  ['DeviceUseStatement', { timingPeriod: GONE, timingDateTime: '2031-03' }],
  ['Observation', { effectiveDateTime: '2032-02-29' }],
  ['Observation', { effectiveDateTime: '2000-02-29T23:59:60Z' }],
  ['Observation', { valueInteger: -2147483648 }],
  ['Observation', { valueInteger: GONE, valueTime: '23:59:59.999' }],
  ['Observation', { valueInteger: GONE, dataAbsentReason: { text: 'not asked' } }],
  ['Observation', { 'subject.reference': DEVICE_URN }],
  ['Task', { 'input.0': { type: { text: 'm' }, valueMeta: { versionId: '3' } } }],
  ['Task', { groupIdentifier: { system: 'urn:example:g', value: '1' } }],
  ['Provenance', { 'target.0.reference': 'Observation/check-7/_history/2' }],
  ['Bundle', { 'entry.1.resource.subject.reference': 'Patient?identifier=urn:example|4' }],
];

const DEFECTS = {
  unknown: [
    ['Procedure', { gauge: '20' }], ['Device', { 'udiCarrier.0.colour': 'pink' }], ['Task', { 'restriction.till': '2031-03-04' }],
    ['Observation', { 'component.0.valueQuantity.digits': 1 }], ['Bundle', { 'entry.0.resource.wing': 'left' }],
    ['DeviceUseStatement', { resourceType: 'LineUse' }], ['DeviceUseStatement', { resourceType: GONE }],
    ['Provenance', { _id: { extension: [note] } }], ['Observation', { _code: { extension: [note] } }],
  ],
  count: [
    ['Procedure', { status: GONE }], ['Procedure', { subject: GONE }], ['Procedure', { performer: [{ function: { text: 'f' } }] }],
    ['DeviceUseStatement', { status: GONE }], ['DeviceUseStatement', { device: GONE }], ['Observation', { status: GONE }],
    ['Observation', { code: GONE }], ['Observation', { 'component.0.code': GONE }], ['Task', { status: GONE }],
    ['Task', { intent: GONE }], ['Task', { 'input.0.valueDuration': GONE }], ['Task', { 'input.0.type': GONE }],
    ['Provenance', { recorded: GONE }], ['Provenance', { agent: GONE }], ['Provenance', { target: [] }],
    ['Provenance', { 'agent.0.who': GONE }], ['Device', { 'deviceName.0.type': GONE }], ['Bundle', { type: GONE }],
    ['Bundle', { 'entry.0.request.method': GONE }], ['Bundle', { 'entry.1.request.url': GONE }],
    ['Answer', { 'entry.0.response.status': GONE }], ['Found', { 'link.0.relation': GONE }],
    ['OperationOutcome', { issue: GONE }], ['OperationOutcome', { 'issue.0.severity': GONE }], ['Procedure', { 'text.div': GONE }],
  ],
  shape: [
    ['Procedure', { bodySite: [] }], ['Procedure', { subject: {} }], ['Procedure', { subject: null }], ['Procedure', { bodySite: [null] }],
    ['Procedure', { code: [{ text: 'c' }] }], ['Procedure', { bodySite: { text: 's' } }], ['Procedure', { subject: 'Patient/p-1' }],
    ['Observation', { code: [] }], ['Observation', { code: 'site-grade' }], ['Task', { restriction: [] }], ['Task', { status: null }],
    ['Task', { status: ['ready'] }], ['Task', { _status: {} }], ['OperationOutcome', { 'issue.0.expression': 'patient' }],
    ['Device', { identifier: [[{ value: 'v' }]] }],
  ],
  choice: [
    ['Observation', { valueString: 'two' }], ['Observation', { _valueString: { extension: [note] } }],
    ['Observation', { effectivePeriod: { start: '2031-03-04' } }], ['Observation', { valueInteger: GONE, value: 2 }],
    ['Observation', { valueInteger: GONE, valueReference: { reference: 'Patient/p-1' } }],
    ['Procedure', { performedPeriod: GONE, performedQuantity: { value: 1 } }], ['DeviceUseStatement', { timingDateTime: '2031-03-04' }],
    ['Task', { extension: [{ ...note, valueCode: 'b' }] }], ['DeviceUseStatement', { 'note.0.authorReference': { reference: 'Practitioner/n-3' } }],
  ],
  codes: [
    ['Procedure', { status: 'finished' }], ['Device', { status: 'removed' }], ['Device', { 'udiCarrier.0.entryType': 'scan' }],
    ['Device', { 'deviceName.0.type': 'short' }], ['Device', { 'identifier.0.use': 'first' }], ['DeviceUseStatement', { status: 'over' }],
    ['Observation', { status: 'Final' }], ['Observation', { 'component.0.valueQuantity.comparator': '=' }], ['Task', { status: 'due' }],
    ['Task', { intent: 'wish' }], ['Task', { priority: 'high' }], ['Provenance', { 'entity.0.role': 'from' }], ['Bundle', { type: 'set' }],
    ['Bundle', { 'entry.0.request.method': 'put' }], ['Found', { 'entry.0.search.mode': 'hit' }],
    ['OperationOutcome', { 'issue.0.code': 'wrong' }], ['Procedure', { 'text.status': 'made' }],
  ],
  reference: [
    ['Procedure', { 'subject.reference': 'Device/line-7' }], ['DeviceUseStatement', { 'device.reference': 'Procedure/put-in-7' }],
    ['DeviceUseStatement', { 'device.reference': 'https://other.example/r4/Patient/1' }], ['Task', { 'owner.reference': 'Location/l-2' }],
    ['Observation', { 'subject.type': 'Device' }], ['Observation', { 'subject.reference': 'Patient p-1' }],
    ['Observation', { 'subject.reference': 'Ward/2' }], ['Observation', { 'subject.reference': 'Patient/p_1' }],
    ['Observation', { subject: { type: 'Medication', identifier: { value: '1' } } }],
  ],
  primitive: [
    ['Observation', { effectiveDateTime: '2031-02-29' }], ['Observation', { effectiveDateTime: '2100-02-29T10:00:00Z' }],
    ['Observation', { effectiveDateTime: '2031-04-31' }], ['Observation', { effectiveDateTime: '2031-13' }],
    ['Observation', { effectiveDateTime: '2031-03-04T14:00:00' }], ['Observation', { effectiveDateTime: '2031-03-04T14:00Z' }],
    ['Observation', { effectiveDateTime: '2031-03-04T24:00:00Z' }], ['Observation', { effectiveDateTime: '2031-03-04 14:00:00Z' }],
    ['Observation', { effectiveDateTime: '2031-03-04T14:00:00+14:30' }], ['Observation', { effectiveDateTime: 2031 }],
    ['Observation', { issued: '2031-03-04' }], ['Observation', { issued: '2031-02-30T00:00:00Z' }], ['Observation', { valueInteger: 1.5 }],
    ['Observation', { valueInteger: 2147483648 }], ['Observation', { valueInteger: '2' }],
    ['Observation', { 'component.0.valueQuantity.value': '2.5' }], ['Observation', { 'component.1.valueBoolean': 'true' }],
    ['Observation', { valueInteger: GONE, valueTime: '24:00:00' }], ['Observation', { id: 'check 7' }], ['Observation', { id: 'c'.repeat(65) }],
    ['Observation', { 'component.0.valueQuantity.code': ' cm' }], ['Task', { 'restriction.repetitions': 0 }], ['Found', { total: -1 }],
    ['Device', { lotNumber: '' }], ['Device', { lotNumber: 12 }], ['Device', { 'identifier.0.system': 'https://hospital example' }],
    ['Device', { 'udiCarrier.0.carrierAIDC': 'QUJ' }], ['Device', { extension: [{ valueString: 'a' }] }],
    ['Procedure', { 'meta.lastUpdated': '2031-03-04T08:12Z' }], ['Procedure', { 'text.div': 'Cannula put in' }],
    ['Observation', { text: div('<script>x</script>') }], ['Observation', { text: div(' ') }],
  ],
  beyond: [
    ['Observation', { dataAbsentReason: { text: 'why' } }], ['Observation', { 'component.0.code': BASES.Observation.code }],
    ['Observation', { referenceRange: [{ type: { text: 't' } }] }], ['Observation', { valueInteger: GONE, valueQuantity: { value: 2, code: 'cm' } }],
    ['Observation', { valueInteger: GONE, valueRange: { low: cm(9), high: cm(3) } }],
    ['Observation', { valueInteger: GONE, valueRatio: { numerator: { value: 3 } } }],
    ['Observation', { extension: [{ ...note, extension: [note] }] }], ['Observation', { 'component.0.code': { id: 'only' } }],
    ['Task', { lastModified: '2031-03-04T14:01:00+00:00' }], ['DeviceUseStatement', { 'timingPeriod.end': '2031-03-03T19:40:00+00:00' }],
    ['DeviceUseStatement', { contained: [inner] }], ['DeviceUseStatement', { 'device.reference': '#none' }],
    ['DeviceUseStatement', { contained: [{ ...inner, meta: { versionId: '1' } }], 'device.reference': '#in' }],
    ['Bundle', { total: 2 }], ['Bundle', { 'entry.0.request': GONE }], ['Bundle', { 'entry.1.fullUrl': DEVICE_URN }],
    ['Bundle', { 'entry.0.search': { mode: 'match' } }], ['Found', { 'entry.0.resource': GONE }],
    ['Bundle', { 'entry.1.resource.device.reference': 'urn:uuid:00000000-0000-4000-8000-000000000000' }],
    ['Bundle', { 'entry.0.fullUrl': DEVICE_URN.toUpperCase() }], ['Found', { 'entry.0.resource.id': GONE }],
    ['Found', { 'entry.0.fullUrl': 'http://127.0.0.1/fhir/Device/line-8' }],
  ],
  nesting: [
    ['DeviceUseStatement', { contained: [{ ...inner, contained: [{ ...inner, id: 'deep' }], parent: { reference: '#deep' } }], 'device.reference': '#in' }],
  ],
};

function changed(base, changes) {
  const copy = structuredClone(BASES[base]);
  for (const [path, value] of Object.entries(changes)) {
    const steps = path.split('.');
    const last = steps.pop();
    const owner = steps.reduce((o, step) => o[step], copy);
    if (value === GONE) delete owner[last];
    else owner[last] = structuredClone(value);
  }
  return copy;
}

function* cases(group, rows, judges, schemas) {
  for (const [i, [base, changes]] of rows.entries()) {
    const what = Object.keys(changes).join('+') || 'unchanged';
    yield { id: `${group}-${i + 1}-${base}-${what}`, judges, schemas, resource: changed(base, changes) };
  }
}
const all = [...cases('sound', SOUND, 'accept', 'accept')];
for (const [group, rows] of Object.entries(DEFECTS))
  all.push(...cases(group, rows, 'refuse', group === 'beyond' ? 'accept' : 'refuse'));
console.log(all.map((c) => JSON.stringify(c)).join('\n'));
