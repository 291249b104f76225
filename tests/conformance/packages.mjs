// The npm packages that judge, from the folder that tests/conformance/install fills.
import { createRequire } from 'node:module';
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import { RELEASES, definitionsFolder } from '../../schemas/fhir/definitions.mjs';

export const HERE = path.dirname(fileURLToPath(import.meta.url));
export const ROOT = path.join(HERE, '../..');
const modules = path.join(ROOT, 'build/conformance/node_modules');

/** The module called `name`, e.g. "ajv". */
export const load = createRequire(path.join(modules, 'x.js'));
/** The folder of the official definitions of a release: "r4", "r4b" or "r5". */
export const definitions = (release = 'r4') => definitionsFolder(modules, release);
/** "r5" of "5.0.0"; undefined for a version that we do not write. */
export const releaseOf = (version) => Object.keys(RELEASES).find((name) => RELEASES[name].version === version);
