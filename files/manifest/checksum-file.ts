/**
 * Checksum files as md5sum, sha1sum ... b2sum (GNU coreutils) and xxhsum write and read them. Sources: coreutils manual,
 * "md5sum invocation" and "cksum output modes"; xxhsum(1). Line by line:
 *
 *   HEX␠␠name   HEX␠*name   \HEX␠␠na\\me   MD5 (name) = HEX   \MD5 (na\nme) = HEX   XXH3_HEX␠␠name (newer xxhsum)
 *
 * Names are bytes. A line that begins with a backslash has its name escaped: `\\`, `\n`, `\r`.
 */
import { type Finding, finding } from '../../findings/finding.ts';
import { nameFromBytes, nameToBytes } from '../names.ts';
import {
  type Algorithm,
  algorithmOf,
  algorithmOfTag,
  canonicalValue,
  type FileFamily,
  reverseBytes,
} from './algorithms.ts';
import { type Reading, StatementList } from './statement.ts';

type Line =
  | { readonly name: Buffer; readonly algorithm: Algorithm; readonly value: string }
  | { readonly malformed: string }
  | { readonly unknown: string };

const ESCAPES: Readonly<Record<string, string>> = { '\\': '\\', n: '\n', r: '\r' };

/** Null when a backslash is followed by anything else than `\`, `n` or `r`. `name` in latin1: one character a byte. */
function unescapeName(name: string): string | null {
  let good = true;
  const out = name.replace(/\\([\s\S]?)/g, (_, next: string) => {
    const value = ESCAPES[next];
    if (value === undefined) good = false;
    return value ?? '';
  });
  return good ? out : null;
}

/** One line without its end, in latin1 (one character a byte). */
function readLine(text: string, family: FileFamily): Line {
  const escaped = text.startsWith('\\');
  const body = escaped ? text.slice(1) : text;
  const withName = (raw: string, algorithm: Algorithm, value: string): Line => {
    const name = escaped ? unescapeName(raw) : raw;
    if (name === null) return { malformed: 'a backslash that escapes nothing' };
    return name === ''
      ? { malformed: 'no file name' }
      : { name: Buffer.from(name, 'latin1'), algorithm, value };
  };
  // The name may itself hold ") = ": the last one counts, as in coreutils.
  const tagged = /^([A-Z][A-Za-z0-9_-]*) \(([\s\S]*)\) = (\S+)$/.exec(body);
  if (tagged !== null) {
    const [, tag, raw, value] = tagged as unknown as [string, string, string, string];
    const known = algorithmOfTag(tag);
    if (known === null) return { unknown: tag };
    const canonical = canonicalValue(known.algorithm, value);
    if (canonical === null) return { malformed: `not a value of ${tag}` };
    return withName(raw, known.algorithm, known.littleEndian ? reverseBytes(canonical) : canonical);
  }
  const plain = /^(XXH3_)?([0-9A-Fa-f]+) [ *]([\s\S]*)$/.exec(body);
  if (plain === null) return { malformed: 'not a checksum, two characters and a name' };
  const [, prefix, value, raw] = plain as unknown as [string, string | undefined, string, string];
  const algorithm = prefix === undefined ? algorithmOf(family, value) : algorithmOf('xxh3', value);
  if (algorithm === null) return { malformed: `${value.length} digits are not a value of ${family}` };
  return withName(raw, algorithm, value.toLowerCase());
}

/**
 * `manifest`: the name that findings give the file; `family`: the algorithm its name says (see `familyOfFileName`).
 * A byte order mark is refused with its line, as the programs themselves do.
 */
export function readChecksumFile(bytes: Buffer, family: FileFamily, manifest: string): Reading {
  const list = new StatementList(manifest);
  const findings: Finding[] = [];
  let good = 0;
  bytes
    .toString('latin1')
    .split('\n')
    .forEach((raw, index) => {
      const text = raw.endsWith('\r') ? raw.slice(0, -1) : raw;
      if (text === '' || text.startsWith('#')) return;
      const line = readLine(text, family);
      const where = `line ${index + 1}`;
      if ('malformed' in line) {
        const mark =
          index === 0 && text.startsWith('\xef\xbb\xbf') ? 'a byte order mark before it' : line.malformed;
        findings.push(
          finding(
            'manifest-line-malformed',
            `${where}: ${mark}`,
            'a checksum and a file name, as the checksum programs write them',
            { file: manifest },
          ),
        );
      } else if ('unknown' in line) {
        findings.push(
          finding(
            'manifest-algorithm-unknown',
            `${where}: ${line.unknown}`,
            'MD5, SHA1, SHA224 to SHA512, BLAKE2b, XXH32, XXH64, XXH3, XXH128',
            { file: manifest },
          ),
        );
      } else {
        good += 1;
        list.add(nameFromBytes(line.name), null, [{ algorithm: line.algorithm, value: line.value }], where);
      }
    });
  if (good === 0)
    findings.push(
      finding('manifest-unreadable', 'no line of it states a checksum', 'at least one checksum line', {
        file: manifest,
      }),
    );
  return { statements: list.statements(), ignore: [], findings: [...findings, ...list.findings] };
}

/** One line in the GNU form, with its line end. */
export function checksumLine(value: string, name: string): Buffer {
  const plain = nameToBytes(name).toString('latin1');
  const escaped = plain.replaceAll('\\', '\\\\').replaceAll('\n', '\\n').replaceAll('\r', '\\r');
  return Buffer.from(`${escaped === plain ? '' : '\\'}${value}  ${escaped}\n`, 'latin1');
}
