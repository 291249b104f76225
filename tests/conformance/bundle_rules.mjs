// Rules of R4's Bundle page that stand in its text only (http://hl7.org/fhir/R4/bundle.html, sections
// on fullUrl, on resolving references and on search results), so no definition carries them.
import { isObject } from './walker.mjs';

const UUID_URN = /^urn:uuid:[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$/;
const listOf = (value) => (Array.isArray(value) ? value.filter(isObject) : []);

/** Calls see(place, text) for every literal reference below `value`. */
function eachReference(value, at, see) {
  if (value === null || typeof value !== 'object') return;
  for (const [key, inner] of Object.entries(value)) {
    const here = Array.isArray(value) ? `${at}[${key}]` : `${at}.${key}`;
    if (key === 'reference' && typeof inner === 'string') see(here, inner);
    else eachReference(inner, here, see);
  }
}

function fullUrlFinding({ fullUrl, resource }) {
  if (typeof fullUrl !== 'string') return null;
  if (!/^[A-Za-z][A-Za-z0-9+.-]*:\S+$/.test(fullUrl)) return 'is not absolute';
  if (/^urn:uuid:/i.test(fullUrl) && !UUID_URN.test(fullUrl)) return 'is no lower-case urn:uuid';
  const tail = `/${resource?.resourceType}/${resource?.id}`;
  return /^https?:/.test(fullUrl) && resource?.id && !fullUrl.endsWith(tail) ? `does not end with ${tail}` : null;
}

function searchFinding({ resource, search }) {
  if (!isObject(resource)) return null;
  const isOutcome = resource.resourceType === 'OperationOutcome';
  if (search?.mode && (search.mode === 'outcome') !== isOutcome) return `search.mode ${search.mode} with ${resource.resourceType}`;
  return isOutcome || resource.id ? null : 'a search result without id';
}

export function bundleFindings(bundle) {
  const found = [];
  const entries = listOf(bundle.entry);
  const relations = listOf(bundle.link).map((link) => link.relation);
  for (const relation of new Set(relations))
    if (['self', 'first', 'previous', 'next', 'last'].includes(relation) && relations.filter((r) => r === relation).length > 1)
      found.push(`Bundle.link: ${relation} more than once`);
  const known = new Set(entries.map((entry) => entry.fullUrl));
  const isClosed = ['transaction', 'document', 'message'].includes(bundle.type);
  entries.forEach((entry, i) => {
    const at = `Bundle.entry[${i}]`;
    const fullUrl = fullUrlFinding(entry);
    if (fullUrl) found.push(`${at}.fullUrl: ${fullUrl}`);
    const search = bundle.type === 'searchset' ? searchFinding(entry) : null;
    if (search) found.push(`${at}: ${search}`);
    eachReference(entry.resource, `${at}.resource`, (here, text) => {
      if (isClosed && /^urn:(uuid|oid):/.test(text) && !known.has(text)) found.push(`${here}: no entry has this fullUrl`);
      const query = /^[A-Z][A-Za-z]+\?(.*)$/.exec(text)?.[1];
      if (query === undefined) return;
      if (bundle.type !== 'transaction') found.push(`${here}: a conditional reference outside a transaction`);
      if (!query.split('&').every((part) => /^[A-Za-z_][\w.:-]*=/.test(part))) found.push(`${here}: not a search`);
    });
  });
  return found;
}
