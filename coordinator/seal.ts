/**
 * Makes a manifest for a roll that came without: the first generation of an ASC MHL history, kept apart from the roll,
 * which is never written to. It proves later copies equal to what was read now, not to the card.
 * Source: ASC MHL specification v1.0, its schemas ASCMHL.xsd and ASCMHLDirectory.xsd. Folder hashes, which the schema
 * leaves to the writer, are left out; so are empty folders.
 */
import { randomUUID } from 'node:crypto';
import { lstat, mkdir, open, rename, rm } from 'node:fs/promises';
import { availableParallelism, hostname } from 'node:os';
import { posix } from 'node:path';
import { FindingError, finding, holds } from '../findings/finding.ts';
import type { RollFile } from '../ledger/roll.ts';
import { packageVersion } from '../media/installation.ts';
import { c4OfBytes } from '../media/manifest/c4.ts';
import { CHAIN_FILE, HISTORY_FOLDER, writeChain } from '../media/manifest/chain.ts';
import { isManifestPath } from '../media/manifest/find.ts';
import { DEFAULT_IGNORE, MHL_NAMESPACE } from '../media/manifest/generation.ts';
import { CONTENT_ALGORITHM } from '../media/manifest/hash.ts';
import { createHashPool } from '../media/manifest/hash-pool.ts';
import { escapeXml, fitsXml } from '../media/manifest/xml.ts';
import { fsPath, printable } from '../media/names.ts';
import { readCopy, walkCopy } from './intake/read.ts';

export interface SealOrder {
  readonly rollFolder: string;
  /** Folder of manifests; it must not lie in the roll. */
  readonly to: string;
  readonly signal?: AbortSignal;
}

export interface Seal {
  /** Full path of the generation's file. */
  readonly file: string;
  readonly files: number;
  readonly bytes: number;
}

/** Whole seconds of UTC: `2020-01-16T09:15:00Z`. */
function seconds(at: Date): string {
  return `${at.toISOString().slice(0, 19)}Z`;
}

function generationText(files: readonly RollFile[], at: Date): string {
  const date = seconds(at);
  const entries = files.map(
    ({ path, bytes, hashes }) =>
      `    <hash>\n      <path size="${bytes}">${escapeXml(path)}</path>\n      <${CONTENT_ALGORITHM} action="original" hashdate="${date}">${hashes[CONTENT_ALGORITHM]}</${CONTENT_ALGORITHM}>\n    </hash>\n`,
  );
  const patterns = DEFAULT_IGNORE.map((pattern) => `      <pattern>${escapeXml(pattern)}</pattern>\n`).join('');
  return `<?xml version="1.0" encoding="UTF-8"?>
<hashlist version="2.0" xmlns="${MHL_NAMESPACE}">
  <creatorinfo>
    <creationdate>${date}</creationdate>
    <hostname>${escapeXml(hostname())}</hostname>
    <tool version="${escapeXml(packageVersion())}">rushlight</tool>
  </creatorinfo>
  <processinfo>
    <process>in-place</process>
    <ignore>
${patterns}    </ignore>
  </processinfo>
  <hashes>
${entries.join('')}  </hashes>
</hashlist>
`;
}

/** Every file of the roll, read whole. Throws FindingError when anything in it cannot be vouched for. */
async function readRoll(folder: string, roll: string, signal: AbortSignal | undefined): Promise<RollFile[]> {
  const walk = await walkCopy(folder, roll, signal);
  if ('fault' in walk) throw new FindingError([walk.fault]);
  const pool = createHashPool(Math.min(4, availableParallelism()));
  try {
    const copy = await readCopy(walk.walked, { roll, statements: new Map(), pool, onBytes: () => {}, signal });
    const files = [...copy.files.values()].filter(({ path }) => !isManifestPath(path) && !/(?:^|\/)\.DS_Store$/.test(path));
    const faults = copy.findings.filter(holds);
    for (const { path } of files) if (!fitsXml(path)) faults.push(finding('seal-name-unwritable', printable(path), 'characters that XML 1.0 can carry', { roll, file: path }));
    if (files.length === 0) faults.push(finding('roll-empty', '0 files', 'at least one clip', { roll }));
    if (faults.length > 0) throw new FindingError(faults);
    return files;
  } finally {
    await pool.close();
  }
}

async function writeDurably(file: string, bytes: Buffer): Promise<void> {
  const handle = await open(fsPath(file), 'wx');
  try {
    await handle.writeFile(bytes);
    await handle.sync();
  } finally {
    await handle.close();
  }
}

/** Writes `<to>/<roll>/ascmhl/` whole or not at all. Throws FindingError, or the signal's reason after an abort. */
export async function sealRoll({ rollFolder, to, signal }: SealOrder): Promise<Seal> {
  const source = posix.resolve(rollFolder);
  const roll = posix.basename(source);
  const place = posix.resolve(to, roll);
  if (!fitsXml(roll)) throw new FindingError([finding('seal-name-unwritable', printable(roll), 'a roll name that XML 1.0 can carry', { roll })]);
  if (place === source || place.startsWith(`${source}/`)) throw new FindingError([finding('folders-overlap', printable(place), 'a folder outside the roll', { roll })], 2);
  const target = `${place}/${HISTORY_FOLDER}`;
  // Not there is what is wanted; any other failure comes back when the folder is made.
  if ((await lstat(target).catch(() => null)) !== null) throw new FindingError([finding('seal-exists', printable(target), 'no history there', { roll })]);
  const files = await readRoll(source, roll, signal);
  const at = new Date();
  const name = `0001_${roll}_${seconds(at).replace('T', '_').replaceAll(/(?<=_.*):/g, '')}.mhl`;
  const generation = Buffer.from(generationText(files, at));
  await mkdir(place, { recursive: true });
  // Not mkdtemp, whose folders only their owner may read.
  const staging = `${place}/.sealing-${randomUUID()}`;
  await mkdir(staging);
  try {
    await writeDurably(`${staging}/${name}`, generation);
    await writeDurably(`${staging}/${CHAIN_FILE}`, writeChain([{ sequence: 1, file: name, c4: c4OfBytes(generation) }]));
    // Fails when somebody else has made a history there meanwhile: a folder that is not empty is never replaced.
    await rename(staging, target);
  } finally {
    await rm(staging, { recursive: true, force: true });
  }
  return { file: `${target}/${name}`, files: files.length, bytes: files.reduce((sum, file) => sum + file.bytes, 0) };
}
