// Layer "json": what JSON.parse() lets pass or hides: encoding, byte order mark, repeated member names.

/** Findings on the raw bytes of a file as a whole. */
export function fileFindings(bytes) {
  const found = [];
  if (!Buffer.from(bytes.toString('utf8'), 'utf8').equals(bytes)) found.push('is not UTF-8');
  if (bytes.subarray(0, 3).equals(Buffer.from([0xef, 0xbb, 0xbf]))) found.push('begins with a byte order mark');
  return found;
}

/** Member names that stand twice in one object of `text`, which must be JSON. */
export function repeatedNames(text) {
  const found = [];
  const open = [];  // a Set of names for each open object, null for each open array
  for (const token of text.matchAll(/"(?:[^"\\]|\\.)*"(\s*:)?|[{}[\]]/g)) {
    const first = token[0][0];
    if (first === '{') open.push(new Set());
    else if (first === '[') open.push(null);
    else if (first !== '"') open.pop();
    else if (token[1] !== undefined) {
      const name = JSON.parse(token[0].slice(0, -token[1].length));
      if (open.at(-1).has(name)) found.push(`member "${name}" stands twice in one object`);
      open.at(-1).add(name);
    }
  }
  return found;
}
