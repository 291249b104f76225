// The npm packages that judge, from the folder that tests/conformance/install fills.
import { createRequire } from 'node:module';
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import { definitionsFolder } from '../../schemas/fhir/definitions.mjs';

export const HERE = path.dirname(fileURLToPath(import.meta.url));
export const ROOT = path.join(HERE, '../..');
const modules = path.join(ROOT, 'build/conformance/node_modules');

/** The module called `name`, e.g. "ajv". */
export const load = createRequire(path.join(modules, 'x.js'));
/** The folder of the official R4 4.0.1 definitions. */
export const definitions = definitionsFolder(modules);
