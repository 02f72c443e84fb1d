/** One ASC MHL v2.0 manifest: one generation of a history. Source: ASC MHL specification v1.0 and its schema, ASCMHL.xsd. */
import { finding, type Finding } from '../../findings/finding.ts';
import { FindingTally } from '../../findings/tally.ts';
import { printable } from '../names.ts';
import { type Algorithm, canonicalValue } from './algorithms.ts';
import { statedSize } from './hash-list-1.ts';
import { MAX_ENTRIES, pathFinding, relativePath, TooManyEntries } from './statement.ts';
import { ownText } from './text.ts';
import { childOf, childrenOf, type XmlNode, type XmlStart } from './xml.ts';

export const MHL_NAMESPACE = 'urn:ASC:MHL:v2.0';
/** In the order of the schema. */
export const MHL_FORMATS = [
  'c4',
  'md5',
  'sha1',
  'xxh128',
  'xxh3',
  'xxh64',
] as const satisfies readonly Algorithm[];
export type MhlFormat = (typeof MHL_FORMATS)[number];
/** The pattern set that the specification asks for when nothing else is said. */
export const DEFAULT_IGNORE = ['.DS_Store', 'ascmhl', 'ascmhl/'] as const;
export const mhlActions = ['original', 'verified', 'failed'] as const;
export type MhlAction = (typeof mhlActions)[number];

export interface RecordedHash {
  readonly algorithm: Algorithm;
  readonly value: string;
  /** Absent in flattened lists and by some writers: then a plain statement. */
  readonly action: MhlAction | null;
}

export interface FileRecord {
  readonly path: string;
  readonly bytes: number | null;
  readonly hashes: readonly RecordedHash[];
  /** The path before a rename that this generation records. */
  readonly previousPath: string | null;
}

export interface Generation {
  readonly files: readonly FileRecord[];
  readonly folders: readonly { readonly path: string; readonly previousPath: string | null }[];
  /** Manifests of nested histories: path relative to this root, and the C4 ID of their bytes. */
  readonly references: readonly { readonly path: string; readonly c4: string }[];
  readonly ignore: readonly string[];
  readonly findings: readonly Finding[];
}

export function isGeneration(root: XmlStart): boolean {
  return root.name === 'hashlist' && root.namespace === MHL_NAMESPACE && root.attributes.version === '2.0';
}

/** The reference implementation reads XXH32 beside the formats of the schema. */
const READ_FORMATS: readonly Algorithm[] = [...MHL_FORMATS, 'xxh32'];

function recordedHashes(entry: XmlNode): { hashes: RecordedHash[] } | { refused: string } {
  const hashes: RecordedHash[] = [];
  for (const node of entry.children) {
    const algorithm = READ_FORMATS.find((format) => format === node.name);
    if (algorithm === undefined || node.namespace !== entry.namespace) continue;
    const value = canonicalValue(algorithm, node.text.trim());
    const action = node.attributes.action ?? null;
    if (value === null) return { refused: `not a value of ${algorithm}: ${printable(node.text)}` };
    const known = mhlActions.find((name) => name === action) ?? null;
    if (action !== null && known === null) return { refused: `an action "${printable(action)}"` };
    hashes.push({ algorithm, value: ownText(value), action: known });
  }
  return { hashes };
}

/** Takes the entries one by one. One that cannot be read is a finding, and the others count. */
export class GenerationReader {
  readonly #files: FileRecord[] = [];
  readonly #folders: { path: string; previousPath: string | null }[] = [];
  readonly #findings = new FindingTally();
  readonly #manifest: string;
  #entries = 0;

  /** `manifest`: the name that findings give the generation. */
  constructor(manifest: string) {
    this.#manifest = manifest;
  }

  /** An element of `hashes`. Throws TooManyEntries. */
  entry(entry: XmlNode): void {
    this.#entries += 1;
    if (this.#entries > MAX_ENTRIES) throw new TooManyEntries();
    const where = `entry ${this.#entries}`;
    const refused = this.#read(entry, where);
    if (refused !== null) this.#refuse(where, refused);
  }

  /** Why it cannot be understood; null when it can be, or has its finding already. */
  #read(entry: XmlNode, where: string): string | null {
    if (entry.name !== 'hash' && entry.name !== 'directoryhash') return `an element ${entry.name}`;
    const element = childOf(entry, 'path');
    if (element === undefined) return 'no path';
    const path = this.#checkedPath(element.text, where);
    if (path === null) return null;
    if (entry.name === 'directoryhash') {
      this.#folders.push({ path, previousPath: this.#previous(entry, where) });
      return null;
    }
    const bytes = statedSize(element.attributes.size);
    if (bytes === undefined) return `a size of ${printable(element.attributes.size ?? '')}`;
    const recorded = recordedHashes(entry);
    if ('refused' in recorded) return recorded.refused;
    const previousPath = this.#previous(entry, where);
    this.#files.push({ path, bytes, hashes: recorded.hashes, previousPath });
    return null;
  }

  #refuse(where: string, why: string): void {
    this.#findings.add(
      finding('manifest-line-malformed', `${where}: ${why}`, 'an entry that fits the ASC MHL schema', {
        file: this.#manifest,
      }),
    );
  }

  #checkedPath(text: string, where: string): string | null {
    const checked = relativePath(text);
    if ('path' in checked) return ownText(checked.path);
    this.#findings.add(pathFinding(checked, text, where, this.#manifest));
    return null;
  }

  #previous(entry: XmlNode, where: string): string | null {
    const text = childOf(entry, 'previousPath')?.text;
    return text === undefined ? null : this.#checkedPath(text, `${where}, previousPath`);
  }

  /** `root`: the document without the entries. */
  finish(root: XmlNode): Generation {
    const references = childrenOf(
      childOf(root, 'references') ?? { ...root, children: [] },
      'hashlistreference',
    ).flatMap((entry, index) => {
      const path = this.#checkedPath(childOf(entry, 'path')?.text ?? '', `reference ${index + 1}`);
      return path === null ? [] : [{ path, c4: childOf(entry, 'c4')?.text.trim() ?? '' }];
    });
    const process = childOf(root, 'processinfo');
    const ignoreList = process === undefined ? undefined : childOf(process, 'ignore');
    const ignore =
      ignoreList === undefined ? [] : childrenOf(ignoreList, 'pattern').map((pattern) => pattern.text);
    return {
      files: this.#files,
      folders: this.#folders,
      references,
      ignore,
      findings: this.#findings.findings(),
    };
  }
}

/** `root`: a document for which `isGeneration` holds. */
export function readGeneration(root: XmlNode, manifest: string): Generation {
  const reader = new GenerationReader(manifest);
  for (const entry of childOf(root, 'hashes')?.children ?? []) reader.entry(entry);
  return reader.finish(root);
}
