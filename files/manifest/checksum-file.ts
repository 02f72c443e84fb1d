/**
 * Checksum files as md5sum, sha1sum ... b2sum (GNU coreutils) and xxhsum write and read them. Sources: coreutils manual,
 * "md5sum invocation" and "cksum output modes"; xxhsum(1). Line by line:
 *
 *   HEX␠␠name   HEX␠*name   \HEX␠␠na\\me   MD5 (name) = HEX   \MD5 (na\nme) = HEX   XXH3_HEX␠␠name (newer xxhsum)
 *
 * Names are bytes. A line that begins with a backslash has its name escaped: `\\`, `\n`, `\r`.
 */
import { finding } from '../../findings/finding.ts';
import { FindingTally } from '../../findings/tally.ts';
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
import { plainBytes } from './text.ts';

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

const LF = 0x0a;
const CR = 0x0d;

/**
 * Line by line in latin1, one character a byte, without their ends: LF, CR LF, or CR alone in a list that has no LF.
 * The last one has no end only when the list was cut off or written by hand: the programs end every line.
 */
function* linesOf(bytes: Buffer): Generator<{ text: string; ended: boolean }> {
  const end = bytes.includes(LF) ? LF : CR;
  for (let at = 0; at < bytes.length; ) {
    const next = bytes.indexOf(end, at);
    const stop = next === -1 ? bytes.length : next;
    const text = bytes.toString('latin1', at, end === LF && bytes[stop - 1] === CR ? stop - 1 : stop);
    yield { text, ended: next !== -1 };
    at = stop + 1;
  }
}

/**
 * `manifest`: the name that findings give the file; `family`: the algorithm its name says (see `familyOfFileName`).
 * Throws TooManyEntries.
 */
export function readChecksumFile(bytes: Buffer, family: FileFamily, manifest: string): Reading {
  const list = new StatementList(manifest);
  const findings = new FindingTally();
  const about = { file: manifest };
  const plain = plainBytes(bytes);
  let good = 0;
  let number = 0;
  for (const { text, ended } of linesOf(plain?.bytes ?? Buffer.alloc(0))) {
    number += 1;
    if (text === '' || text.startsWith('#')) continue;
    const line = readLine(text, family);
    const where = `line ${number}`;
    if ('malformed' in line)
      findings.add(
        finding(
          'manifest-line-malformed',
          `${where}: ${ended ? line.malformed : 'the list ends in the middle of it'}`,
          'a checksum and a file name, as the checksum programs write them',
          about,
        ),
      );
    else if ('unknown' in line)
      findings.add(
        finding(
          'manifest-algorithm-unknown',
          `${where}: ${line.unknown}`,
          'MD5, SHA1, SHA224 to SHA512, BLAKE2b, XXH32, XXH64, XXH3, XXH128',
          about,
        ),
      );
    else {
      good += 1;
      list.add(nameFromBytes(line.name), null, [{ algorithm: line.algorithm, value: line.value }], where);
    }
  }
  if (good === 0)
    findings.add(
      finding(
        'manifest-unreadable',
        plain === null ? 'it begins like UTF-16 text and is not' : 'no line of it states a checksum',
        'at least one checksum line',
        about,
      ),
    );
  return { statements: list.statements(), ignore: [], findings: [...findings.findings(), ...list.findings] };
}

/** One line in the GNU form, with its line end. */
export function checksumLine(value: string, name: string): Buffer {
  const plain = nameToBytes(name).toString('latin1');
  const escaped = plain.replaceAll('\\', '\\\\').replaceAll('\n', '\\n').replaceAll('\r', '\\r');
  return Buffer.from(`${escaped === plain ? '' : '\\'}${value}  ${escaped}\n`, 'latin1');
}
