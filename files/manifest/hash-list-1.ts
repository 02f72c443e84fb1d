/**
 * The older open hash list, version 1.x, `.mhl` without a namespace. From memory of files and public
 * descriptions (root `hashlist`, entries `hash` with `file`, `size` and one checksum); no schema was at hand, so this
 * reader takes what it knows and refuses an entry that it does not.
 *
 *   xxhash     XXH32 as a decimal number      xxhash64    XXH64, bytes reversed (little-endian) hex
 *   xxhash64be XXH64, canonical hex           null        no checksum, the size alone
 *   md5, sha1  hex
 */
import { finding } from '../../findings/finding.ts';
import { FindingTally } from '../../findings/tally.ts';
import { printable } from '../names.ts';
import { canonicalValue, reverseBytes } from './algorithms.ts';
import { type Reading, type StatedHash, StatementList } from './statement.ts';
import { childOf, childrenOf, type XmlNode, type XmlStart } from './xml.ts';

export function isHashList1(root: XmlStart): boolean {
  return (
    root.name === 'hashlist' && root.namespace === '' && /^1(\.\d+)*$/.test(root.attributes.version ?? '')
  );
}

const READERS: Readonly<Record<string, (text: string) => StatedHash | null>> = {
  md5: (text) => stated('md5', text),
  sha1: (text) => stated('sha1', text),
  xxhash64be: (text) => stated('xxh64', text),
  xxhash64: (text) => {
    const written = canonicalValue('xxh64', text);
    return written === null ? null : { algorithm: 'xxh64', value: reverseBytes(written) };
  },
  xxhash: (text) => {
    if (!/^\d{1,10}$/.test(text) || Number(text) > 0xffffffff) return null;
    return { algorithm: 'xxh32', value: Number(text).toString(16).padStart(8, '0') };
  },
};

function stated(algorithm: StatedHash['algorithm'], text: string): StatedHash | null {
  const value = canonicalValue(algorithm, text);
  return value === null ? null : { algorithm, value };
}

/** Whole bytes; undefined when it is no such number. */
export function statedSize(text: string | undefined): number | null | undefined {
  if (text === undefined) return null;
  return /^\d+$/.test(text.trim()) && Number.isSafeInteger(Number(text)) ? Number(text) : undefined;
}

function statedHashes(entry: XmlNode): { hashes: StatedHash[] } | { refused: string } {
  const hashes: StatedHash[] = [];
  for (const child of entry.children) {
    const read = Object.hasOwn(READERS, child.name) ? READERS[child.name] : undefined;
    if (read === undefined) continue;
    const hash = read(child.text.trim());
    if (hash === null) return { refused: `not a value of ${child.name}: ${printable(child.text)}` };
    hashes.push(hash);
  }
  if (hashes.length === 0 && childOf(entry, 'null') === undefined)
    return { refused: 'no checksum of a known kind' };
  return { hashes };
}

/** Takes the entries one by one. Paths are relative to the folder that holds the list. */
export class HashList1Reader {
  readonly #list: StatementList;
  readonly #findings = new FindingTally();
  readonly #manifest: string;
  #entries = 0;

  /** `manifest`: the name that findings give the list. */
  constructor(manifest: string) {
    this.#manifest = manifest;
    this.#list = new StatementList(manifest);
  }

  /** An element `hash` of the root. Throws TooManyEntries. */
  entry(entry: XmlNode): void {
    this.#entries += 1;
    const path = childOf(entry, 'file')?.text ?? '';
    const where = `entry ${this.#entries}${path === '' ? '' : ` (${printable(path)})`}`;
    const size = statedSize(childOf(entry, 'size')?.text);
    const hashes = statedHashes(entry);
    if (path === '') this.#refuse(where, 'no file name');
    else if (size === undefined || size === null) this.#refuse(where, 'no size in whole bytes');
    else if ('refused' in hashes) this.#refuse(where, hashes.refused);
    else this.#list.add(path, size, hashes.hashes, where);
  }

  #refuse(where: string, why: string): void {
    this.#findings.add(
      finding('manifest-line-malformed', `${where}: ${why}`, 'an entry with file, size and one checksum', {
        file: this.#manifest,
      }),
    );
  }

  finish(): Reading {
    const statements = this.#list.statements();
    if (statements.length === 0)
      this.#findings.add(
        finding('manifest-unreadable', 'it lists no file', 'at least one entry', { file: this.#manifest }),
      );
    return { statements, ignore: [], findings: [...this.#findings.findings(), ...this.#list.findings] };
  }
}

/** `root`: a document for which `isHashList1` holds. */
export function readHashList1(root: XmlNode, manifest: string): Reading {
  const reader = new HashList1Reader(manifest);
  for (const entry of childrenOf(root, 'hash')) reader.entry(entry);
  return reader.finish();
}
