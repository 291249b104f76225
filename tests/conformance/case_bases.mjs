// Sound resources about an invented line, from which cases.mjs makes cases with one defect each.
const SNOMED = 'http://snomed.info/sct';
const UCUM = 'http://unitsofmeasure.org';
const concept = (code, text, system = SNOMED) => ({ coding: [{ system, code }], text });
const at = (time) => `2031-03-04T${time}+00:00`;
const ref = (reference) => ({ reference });
export const DEVICE_URN = 'urn:uuid:0d6a52c4-9d0e-5c36-8f7a-3f6c1a2b4c01';
export const USE_URN = 'urn:uuid:0d6a52c4-9d0e-5c36-8f7a-3f6c1a2b4c02';

const Device = {
  resourceType: 'Device', id: 'line-7',
  identifier: [{ use: 'official', system: 'https://hospital.example/lines', value: 'L-7' }],
  udiCarrier: [{ deviceIdentifier: '09506000117843', carrierHRF: '(01)09506000117843', carrierAIDC: 'QUJD',
    entryType: 'barcode' }],
  status: 'active', lotNumber: 'B12', expirationDate: '2033-01-31T00:00:00Z',
  deviceName: [{ name: '20 G', type: 'user-friendly-name' }],
  type: concept('82449006', 'peripheral cannula'), patient: ref('Patient/p-1'),
};
const DeviceUseStatement = {
  resourceType: 'DeviceUseStatement', id: 'use-7', status: 'completed', subject: ref('Patient/p-1'),
  timingPeriod: { start: at('08:10:00'), end: at('19:40:00') }, recordedOn: at('19:45:00'),
  source: ref('Practitioner/n-3'), device: ref('Device/line-7'), bodySite: concept('14975008', 'forearm'),
  note: [{ authorString: 'ward', text: 'no trouble' }],
};
const Procedure = {
  resourceType: 'Procedure', id: 'put-in-7',
  meta: { source: 'urn:example:ward', lastUpdated: '2031-03-04T08:12:00.250Z' },
  text: { status: 'generated', div: '<div xmlns="http://www.w3.org/1999/xhtml">Cannula put in</div>' },
  status: 'completed', code: concept('392230005', 'cannulation'), subject: ref('Patient/p-1'),
  performedPeriod: { start: at('08:05:00'), end: at('08:10:00') },
  performer: [{ actor: ref('Practitioner/n-3') }], bodySite: [concept('14975008', 'forearm')],
  focalDevice: [{ manipulated: ref('Device/line-7') }], usedReference: [ref('Device/line-7')],
};
const Observation = {
  resourceType: 'Observation', id: 'check-7', status: 'final',
  category: [concept('exam', 'exam', 'http://terminology.hl7.org/CodeSystem/observation-category')],
  code: concept('site-grade', 'grade of the site', 'https://hospital.example/codes'),
  subject: ref('Patient/p-1'), focus: [ref('Device/line-7')], effectiveDateTime: at('14:00:00'),
  issued: '2031-03-04T14:02:11.5Z', performer: [ref('Practitioner/n-3')], valueInteger: 2,
  component: [
    { code: { text: 'redness' }, valueQuantity: { value: 2.5, unit: 'cm', system: UCUM, code: 'cm' } },
    { code: { text: 'pain' }, valueBoolean: true },
  ],
};
const Task = {
  resourceType: 'Task', id: 'due-7', status: 'ready', intent: 'order', priority: 'urgent',
  code: { text: 'take out' }, focus: ref('Device/line-7'), for: ref('Patient/p-1'),
  authoredOn: at('14:02:00'), lastModified: at('14:03:00'), owner: ref('Organization/ward-2'),
  restriction: { repetitions: 1, period: { end: at('15:00:00') } },
  input: [{ type: { text: 'limit' }, valueDuration: { value: 1, unit: 'h', system: UCUM, code: 'h' } }],
};
const Provenance = {
  resourceType: 'Provenance', id: 'origin-7', target: [ref('Observation/check-7')],
  occurredDateTime: at('14:00:00'), recorded: '2031-03-04T14:02:11Z',
  agent: [{ who: ref('Practitioner/n-3') }],
  entity: [{ role: 'source', what: { identifier: { system: 'urn:example:ward', value: 'ev-19' } } }],
};
const OperationOutcome = {
  resourceType: 'OperationOutcome',
  issue: [{ severity: 'error', code: 'required', details: { text: 'required' }, expression: ['patient'] }],
};
const withoutId = ({ id, ...rest }) => rest;
const Bundle = {
  resourceType: 'Bundle', type: 'transaction', timestamp: '2031-03-04T08:12:01Z',
  entry: [
    { fullUrl: DEVICE_URN, resource: withoutId(Device), request: { method: 'PUT', url: 'Device?identifier=a|7' } },
    { fullUrl: USE_URN, resource: { ...withoutId(DeviceUseStatement), device: ref(DEVICE_URN) },
      request: { method: 'POST', url: 'DeviceUseStatement', ifNoneExist: 'identifier=a|8' } },
  ],
};
const Found = {
  resourceType: 'Bundle', type: 'searchset', total: 1,
  link: [{ relation: 'self', url: 'http://127.0.0.1/fhir/Device?_id=line-7' }],
  entry: [{ fullUrl: 'http://127.0.0.1/fhir/Device/line-7', resource: Device, search: { mode: 'match' } }],
};
const Answer = {
  resourceType: 'Bundle', type: 'transaction-response',
  entry: [{ response: { status: '201', location: 'Device/line-7/_history/1', etag: 'W/"1"' } }],
};
export const BASES = { Device, DeviceUseStatement, Procedure, Observation, Task, Provenance, OperationOutcome,
  Bundle, Found, Answer };
