// Counts what passed and failed, for the tests of the package in node.
let passed = 0;
let failed = 0;

/** Passes when `findings` (texts) is empty; a finding that is thrown counts too. */
export function test(name, findings) {
  let found;
  try {
    found = findings();
  } catch (error) {
    found = [String(error.stack)];
  }
  if (found.length === 0) passed++;
  else failed++;
  for (const finding of found.slice(0, 10)) console.log(`${name}: ${finding}`);
  if (found.length > 10) console.log(`${name}: and ${found.length - 10} more`);
}

/** A row for the table of judges, then the counts; gives back the exit status. */
export function finish(judge, release, resources) {
  console.log(JSON.stringify({ judge, release, resources, errors: failed, warnings: 0 }));
  console.log(`${passed} passed, ${failed} failed`);
  return failed === 0 && passed > 0 ? 0 : 1;
}

/** What is in `wanted` and not in `got`, and the other way. */
export function differences(wanted, got) {
  const [left, right] = [new Set(wanted), new Set(got)];
  return [...[...left].filter((one) => !right.has(one)).map((one) => `missing: ${one}`),
    ...[...right].filter((one) => !left.has(one)).map((one) => `too much: ${one}`)];
}
