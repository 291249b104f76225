// A gzipped tar archive whose bytes depend on its files alone. Format: POSIX.1-1988 ustar, RFC 1952.
import zlib from 'node:zlib';

const BLOCK = 512;
const padded = (bytes) => Buffer.concat([bytes, Buffer.alloc((BLOCK - (bytes.length % BLOCK)) % BLOCK)]);
const octal = (number, digits) => `${number.toString(8).padStart(digits, '0')}\0`;

function header(name, size, seconds) {
  if (Buffer.byteLength(name) > 100) throw new Error(`too long for a tar header: ${name}`);
  const block = Buffer.alloc(BLOCK);
  const fields = [[0, name], [100, octal(0o644, 7)], [108, octal(0, 7)], [116, octal(0, 7)], [124, octal(size, 11)],
    [136, octal(seconds, 11)], [148, ' '.repeat(8)], [156, '0'], [257, 'ustar\0'], [263, '00']];
  for (const [at, text] of fields) block.write(text, at, 'latin1');
  const sum = block.reduce((total, byte) => total + byte, 0);
  block.write(`${octal(sum, 6)} `, 148, 'latin1');
  return block;
}

/** files: Map of path -> text. seconds: the time of change of every file, since 1970. */
export function archive(files, seconds) {
  const parts = [...files.keys()].sort().flatMap((name) => {
    const bytes = Buffer.from(files.get(name), 'utf8');
    return [header(name, bytes.length, seconds), padded(bytes)];
  });
  return zlib.gzipSync(Buffer.concat([...parts, Buffer.alloc(2 * BLOCK)]), { level: 9 });
}
