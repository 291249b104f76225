// Judges its share of the texts: [{place, text}] -> one answer for each, with findings [layer, text] and
// warnings likewise.
import { parentPort, workerData } from 'node:worker_threads';
import { repeatedNames } from './json_text.mjs';
import { makeLayers } from './layers.mjs';

const layers = makeLayers(workerData.release);

function judgeOne({ place, text }) {
  const answer = { place, name: '-', findings: [], warnings: [], references: [], timesMs: {} };
  let resource;
  try {
    resource = JSON.parse(text);
    answer.findings.push(...repeatedNames(text).map((finding) => ['json', finding]));
  } catch (error) {
    answer.findings.push(['json', error.message]);
    return answer;
  }
  answer.type = resource?.resourceType;
  answer.name = `${answer.type}/${resource?.id ?? ''}`;
  for (const { name, judge } of layers) {
    const start = performance.now();
    for (const finding of judge(resource)) {
      if (finding.warning === undefined) answer.findings.push([name, finding]);
      else answer.warnings.push([name, finding.warning]);
    }
    answer.timesMs[name] = performance.now() - start;
  }
  for (const [, literal] of text.matchAll(/"reference"\s*:\s*"([A-Z][A-Za-z]+\/[A-Za-z0-9.-]+)/g))
    answer.references.push(literal);
  return answer;
}
parentPort.postMessage({ layers: layers.map((layer) => layer.name), answers: workerData.texts.map(judgeOne) });
