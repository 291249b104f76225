// What ours and the outside judges say of the same resources, compared. A case: {place, kind, text, ours, theirs};
// ours and theirs are what each side finds, as texts: "<pointer> <rule> <expected>" and "<layer>: <text>".
import fs from 'node:fs';
import path from 'node:path';
import { HERE } from '../packages.mjs';

const PRINTED_MAX = 60;

/** The JSON text of the value at a pointer; '' where there is none. */
function valueAt(text, pointer) {
  try {
    const steps = pointer.split('/').slice(1).map((step) => step.replace(/~1/g, '/').replace(/~0/g, '~'));
    return JSON.stringify(steps.reduce((value, step) => value?.[step], JSON.parse(text))) ?? '';
  } catch {
    return '';
  }
}

/**
 * The rows of differences.json for a release. A row explains a finding that one side has and the other has not:
 *   ours     what ours says of the resource, "accepts" or "refuses"
 *   pattern  of the finding: "<layer>: <text>" of a judge, or "<pointer> <rule> <expected>" of ours
 *   kinds    of the change, if only some;  text: of the whole resource;  value: of what stands at our pointer
 */
export class Differences {
  constructor(release) {
    const regex = (text) => (text === undefined ? null : new RegExp(text, 'su'));
    this.rows = JSON.parse(fs.readFileSync(path.join(HERE, 'differential/differences.json'), 'utf8')).differences
      .filter((row) => row.releases.includes(release))
      .map((row) => ({ ...row, pattern: regex(row.pattern), text: regex(row.text), value: regex(row.value), count: 0 }));
  }
  #rowOf(c, side, finding) {
    return this.rows.find((row) => row.ours === side && row.pattern.test(finding)
      && (!row.kinds || row.kinds.includes(c.kind)) && (!row.text || row.text.test(c.text))
      && (!row.value || row.value.test(valueAt(c.text, finding.split(' ')[0]))));
  }
  /** Whether rows explain every finding. */
  explain(c) {
    const side = c.ours.length === 0 ? 'accepts' : 'refuses';
    const rows = [...c.ours, ...c.theirs].map((finding) => this.#rowOf(c, side, finding));
    if (rows.includes(undefined)) return false;
    for (const row of new Set(rows)) row.count++;
    return true;
  }
}

/** Counts the cases by who accepts and who refuses; prints the first differences that no row explains. */
export function sort(judged, differences) {
  const totals = { both_accept: 0, both_refuse: 0, explained: 0, unexplained: 0 };
  for (const c of judged) {
    if ((c.ours.length === 0) === (c.theirs.length === 0)) totals[c.ours.length ? 'both_refuse' : 'both_accept']++;
    else if (differences.explain(c)) totals.explained++;
    else if (++totals.unexplained <= PRINTED_MAX)
      console.log(`${c.place}: ours ${c.ours.length ? 'refuses' : 'accepts'}: ${[...c.ours, ...c.theirs].join(' | ').slice(0, 500)}`);
  }
  return totals;
}
