/** Writes one ASC MHL v2.0 manifest. The order of the elements is that of the published schema, ASCMHL.xsd. Pure. */
import type { FolderHash } from './directory-hash.ts';
import { MHL_FORMATS, MHL_NAMESPACE, type MhlAction, type MhlFormat } from './generation.ts';
import { escapeXml } from './xml.ts';

export interface WrittenFile {
  readonly path: string;
  readonly bytes: number;
  readonly modifiedAt: Date;
  readonly hashes: readonly {
    readonly algorithm: MhlFormat;
    readonly value: string;
    readonly action: MhlAction;
  }[];
}

export interface WrittenGeneration {
  readonly createdAt: Date;
  readonly host: string;
  readonly tool: { readonly name: string; readonly version: string };
  readonly process: 'in-place' | 'transfer' | 'flatten';
  readonly ignore: readonly string[];
  readonly files: readonly WrittenFile[];
  /** By path, `` for the root (see directory-hash.ts), all in `folderAlgorithm`. */
  readonly folders: ReadonlyMap<string, FolderHash>;
  readonly folderAlgorithm: MhlFormat;
}

/** Whole seconds of UTC: `2020-01-16T09:15:00Z`. */
export function mhlDate(at: Date): string {
  return `${at.toISOString().slice(0, 19)}Z`;
}

/** `0001_A002R2EC_2020-01-16_091500Z.mhl` */
export function generationName(sequence: number, root: string, at: Date): string {
  const [day, time] = mhlDate(at).split('T') as [string, string];
  return `${String(sequence).padStart(4, '0')}_${root}_${day}_${time.replaceAll(':', '')}.mhl`;
}

/** Files and folders of a folder by name, each folder after what it holds, as the standard's own examples have it. */
function treeOrder(
  a: { parts: readonly string[]; folder: boolean },
  b: { parts: readonly string[]; folder: boolean },
): number {
  for (let depth = 0; depth < Math.max(a.parts.length, b.parts.length); depth++) {
    const [one, other] = [a.parts[depth], b.parts[depth]];
    if (one === undefined) return a.folder ? 1 : -1;
    if (other === undefined) return b.folder ? -1 : 1;
    if (one !== other) return one < other ? -1 : 1;
  }
  return 0;
}

export function writeGeneration(what: WrittenGeneration): Buffer {
  const date = mhlDate(what.createdAt);
  const folderHash = (indent: string, { content, structure }: FolderHash): string =>
    [
      ['content', content],
      ['structure', structure],
    ]
      .map(
        ([name, value]) =>
          `${indent}<${name}>\n${indent}  <${what.folderAlgorithm} hashdate="${date}">${value}</${what.folderAlgorithm}>\n${indent}</${name}>\n`,
      )
      .join('');
  const fileEntry = (file: WrittenFile): string => {
    const hashes = MHL_FORMATS.flatMap((format) =>
      file.hashes.filter(({ algorithm }) => algorithm === format),
    ).map(
      ({ algorithm, value, action }) =>
        `      <${algorithm} action="${action}" hashdate="${date}">${value}</${algorithm}>\n`,
    );
    return `    <hash>\n      <path size="${file.bytes}" lastmodificationdate="${mhlDate(file.modifiedAt)}">${escapeXml(file.path)}</path>\n${hashes.join('')}    </hash>\n`;
  };
  const folderEntry = (path: string, hash: FolderHash): string =>
    `    <directoryhash>\n      <path>${escapeXml(path)}</path>\n${folderHash('      ', hash)}    </directoryhash>\n`;
  const entries = [
    ...what.files.map((file) => ({ parts: file.path.split('/'), folder: false, text: fileEntry(file) })),
    ...[...what.folders]
      .filter(([path]) => path !== '')
      .map(([path, hash]) => ({ parts: path.split('/'), folder: true, text: folderEntry(path, hash) })),
  ].sort(treeOrder);
  const root = what.folders.get('');
  const rootHash = root === undefined ? '' : `    <roothash>\n${folderHash('      ', root)}    </roothash>\n`;
  const patterns = what.ignore.map((pattern) => `      <pattern>${escapeXml(pattern)}</pattern>\n`).join('');
  return Buffer.from(`<?xml version="1.0" encoding="UTF-8"?>
<hashlist version="2.0" xmlns="${MHL_NAMESPACE}">
  <creatorinfo>
    <creationdate>${date}</creationdate>
    <hostname>${escapeXml(what.host)}</hostname>
    <tool version="${escapeXml(what.tool.version)}">${escapeXml(what.tool.name)}</tool>
  </creatorinfo>
  <processinfo>
    <process>${what.process}</process>
${rootHash}    <ignore>
${patterns}    </ignore>
  </processinfo>
  <hashes>
${entries.map(({ text }) => text).join('')}  </hashes>
</hashlist>
`);
}
