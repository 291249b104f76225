// The rules by which the program refuses a request or an event, read off the places in the sources that name them.
import fs from 'node:fs';
import path from 'node:path';
import { ROOT } from '../packages.mjs';

// [folder or file, what names a rule there]
const PLACES = [
  ['daemon/intake', /Refuse\(\s*\d{3},\s*"([\w-]+)"/g],            // a route, the pipeline
  ['daemon/intake', /\{"([\w-]+)", \d{3},/g],                      // a row of gate.cc
  ['daemon/intake', /(?:push_back\(|\{)\{"([\w-]+)",\s*(?:""|std::string\(pointer\)),/g],  // examine.cc
  ['daemon/intake', /return \{"([\w-]+)", "\//g],                  // what is taken with a warning
  ['daemon/ledger', /"\/line_id",\s*"([\w-]+)"/g],
  ['daemon/ledger', /"\/id",\s*"([\w-]+)"|row\.pointer,\s*"([\w-]+)"/g],
  ['mapping/line', /RuleRow\{"([\w-]+)"/g],
  ['mapping/line/targets.cc', /"(other-[\w-]+)"/g],
  ['mapping/event', /[Pp]roblem\((?:[\w./"]+, )?"([a-z][\w-]+)"/g],
  ['mapping/event', /Problem\{std::string\(pointer\), "([\w-]+)"/g],
  ['mapping/event', /UdiFault \w+\{\s*"([\w-]+)"/g],
  ['schemas/json', /Refuse\("([\w-]+)"/g],
  ['schemas/json', /return \{"([\w-]+)", /g],
  ['schemas/check.cc', /Refuse\([^,"]+, "([\w-]+)"/g],
  ['schemas/combined.cc', /Refuse\([^,"]+, "([\w-]+)"/g],
  ['schemas/check.cc', /Refuse\(value, [^"]* \? "([\w-]+)"/g],
  ['schemas/check.cc', /AllPresent\([^"]*"([\w-]+)"/g],
  ['schemas/event', /"format": "([\w-]+)"/g],
];

function filesOf(place) {
  const whole = path.join(ROOT, place);
  if (fs.statSync(whole).isFile()) return [whole];
  return fs.readdirSync(whole).filter((name) => /\.(cc|h|json)$/.test(name)).map((name) => path.join(whole, name));
}

/** Every rule, sorted. Throws where a place names none any more: then it is this table that has to be mended. */
export function rulesInSources() {
  const found = new Set();
  for (const [place, pattern] of PLACES) {
    let here = 0;
    for (const file of filesOf(place))
      for (const match of fs.readFileSync(file, 'utf8').matchAll(pattern)) {
        found.add(match.slice(1).find(Boolean));
        here++;
      }
    if (here === 0) throw new Error(`no rule found in ${place} by ${pattern}`);
  }
  return [...found].sort();
}
