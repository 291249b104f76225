// What the daemon asks of a FHIR server of one release, as a CapabilityStatement: what is written in
// client.capabilitystatement.json, and the types that have a profile.

const written = ({ type, url, version }) => ({
  type,
  supportedProfile: [`${url}|${version}`],
  interaction: [{ code: 'update', documentation: 'PUT Type/id inside a transaction.' }],
  updateCreate: true,
  referencePolicy: ['literal', 'logical'],
});

export function capability(source, { fhirVersion, profiles, version, date, softwareVersion }) {
  const { software, kind, format, rest: [client], ...head } = source;
  return { ...head, version, date, kind, software: { ...software, version: softwareVersion }, fhirVersion, format,
    rest: [{ ...client, resource: [...profiles.map(written), ...client.resource] }] };
}
