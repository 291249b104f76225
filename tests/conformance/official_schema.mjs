// The official fhir.schema.json of R4 4.0.1, recovered and proven by its SHA-256.
// The package holds that file with private types and members added. Taking these out and writing the
// rest as the publisher's JSON writer does (two spaces, HTML-safe escapes) gives the published bytes.
import crypto from 'node:crypto';
import fs from 'node:fs';
import path from 'node:path';

// SHA-256 of the 3,386,892 bytes as downloaded from the specification's site, recorded by many public projects.
const SHA256 = '2230406893b4cf002a4ee1e5e2bbeca22ac5d2d4931b3e9ef7b9594bbc376a01';
const ADDED_TYPES = ['Project', 'ClientApplication', 'User', 'Login', 'RefreshToken',
  'PasswordChangeRequest', 'JsonWebKey'];
const ADDED_MEMBERS = { Reference: ['resource'], Meta: ['project', 'who', 'onBehalfOf'],
  OperationOutcome: ['status', 'resource'] };

function withoutAdditions(schema) {
  const kept = (choice) => !ADDED_TYPES.includes(choice.$ref?.split('/').at(-1));
  schema.oneOf = schema.oneOf.filter(kept);
  schema.definitions.ResourceList.oneOf = schema.definitions.ResourceList.oneOf.filter(kept);
  for (const type of ADDED_TYPES) {
    delete schema.definitions[type];
    delete schema.discriminator.mapping[type];
  }
  for (const [type, members] of Object.entries(ADDED_MEMBERS))
    for (const member of members) delete schema.definitions[type].properties[member];
  return schema;
}

/** The parsed schema; throws when its bytes are not the published ones. */
export function officialSchema(folder) {
  const file = path.join(folder, 'fhir.schema.json');
  const schema = withoutAdditions(JSON.parse(fs.readFileSync(file, 'utf8')));
  const escaped = (c) => `\\u${c.charCodeAt(0).toString(16).padStart(4, '0')}`;
  const text = JSON.stringify(schema, null, 2).replace(/[<>&='\u2028\u2029]/g, escaped);
  const found = crypto.createHash('sha256').update(text).digest('hex');
  if (found !== SHA256) throw new Error(`fhir.schema.json is not the official one: SHA-256 ${found}`);
  return schema;
}
