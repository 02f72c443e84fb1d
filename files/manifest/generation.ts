/** One ASC MHL v2.0 manifest: one generation of a history. Source: ASC MHL specification v1.0 and its schema, ASCMHL.xsd. */
import { finding, type Finding } from '../../findings/finding.ts';
import { printable } from '../names.ts';
import { type Algorithm, canonicalValue } from './algorithms.ts';
import { statedSize } from './hash-list-1.ts';
import { relativePath } from './statement.ts';
import { childOf, childrenOf, type XmlNode } from './xml.ts';

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

export function isGeneration(root: XmlNode): boolean {
  return root.name === 'hashlist' && root.namespace === MHL_NAMESPACE && root.attributes.version === '2.0';
}

/** The reference implementation reads XXH32 beside the formats of the schema. */
const READ_FORMATS: readonly Algorithm[] = [...MHL_FORMATS, 'xxh32'];

function recordedHashes(entry: XmlNode): { hashes: RecordedHash[] } | { refused: string } {
  const hashes: RecordedHash[] = [];
  for (const algorithm of READ_FORMATS) {
    for (const node of childrenOf(entry, algorithm)) {
      const value = canonicalValue(algorithm, node.text.trim());
      const action = node.attributes.action ?? null;
      if (value === null) return { refused: `not a value of ${algorithm}: ${printable(node.text)}` };
      if (action !== null && !mhlActions.some((known) => known === action))
        return { refused: `an action "${printable(action)}"` };
      hashes.push({ algorithm, value, action: action as MhlAction | null });
    }
  }
  return { hashes };
}

/** `root`: a document for which `isGeneration` holds. An entry that cannot be read is a finding, and the others count. */
export function readGeneration(root: XmlNode, manifest: string): Generation {
  const findings: Finding[] = [];
  const refuse = (where: string, why: string): void => {
    findings.push(
      finding('manifest-line-malformed', `${where}: ${why}`, 'an entry as the ASC MHL schema has it', {
        file: manifest,
      }),
    );
  };
  const checkedPath = (text: string, where: string): string | null => {
    const checked = relativePath(text);
    if ('path' in checked) return checked.path;
    findings.push(
      finding(
        'manifest-path-outside',
        `${where}: ${printable(text)}: ${checked.refused}`,
        'a path below the folder that the manifest describes',
        { file: manifest },
      ),
    );
    return null;
  };
  const previous = (entry: XmlNode, where: string): string | null => {
    const text = childOf(entry, 'previousPath')?.text;
    return text === undefined ? null : checkedPath(text, `${where}, previousPath`);
  };
  const files: FileRecord[] = [];
  const folders: Generation['folders'][number][] = [];
  const hashes = childOf(root, 'hashes');
  for (const [index, entry] of (hashes?.children ?? []).entries()) {
    const element = childOf(entry, 'path');
    const where = `entry ${index + 1}`;
    if (entry.name !== 'hash' && entry.name !== 'directoryhash') {
      refuse(where, `an element ${entry.name}`);
      continue;
    }
    if (element === undefined) {
      refuse(where, 'no path');
      continue;
    }
    const path = checkedPath(element.text, where);
    if (path === null) continue;
    if (entry.name === 'directoryhash') {
      folders.push({ path, previousPath: previous(entry, where) });
      continue;
    }
    const size = statedSize(element.attributes.size);
    if (size === undefined) {
      refuse(where, `a size of ${printable(element.attributes.size ?? '')}`);
      continue;
    }
    const recorded = recordedHashes(entry);
    if ('refused' in recorded) refuse(where, recorded.refused);
    else files.push({ path, bytes: size, hashes: recorded.hashes, previousPath: previous(entry, where) });
  }
  const references = childrenOf(
    childOf(root, 'references') ?? { ...root, children: [] },
    'hashlistreference',
  ).flatMap((entry, index) => {
    const path = checkedPath(childOf(entry, 'path')?.text ?? '', `reference ${index + 1}`);
    return path === null ? [] : [{ path, c4: childOf(entry, 'c4')?.text.trim() ?? '' }];
  });
  const process = childOf(root, 'processinfo');
  const ignoreList = process === undefined ? undefined : childOf(process, 'ignore');
  const ignore =
    ignoreList === undefined ? [] : childrenOf(ignoreList, 'pattern').map((pattern) => pattern.text);
  return { files, folders, references, ignore, findings };
}
