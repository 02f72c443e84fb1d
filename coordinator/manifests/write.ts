/** Puts a generation on disk: the first one with its folder, whole or not at all; a further one before the chain names it. */
import { codeOf } from '../../files/error-code.ts';
import { randomUUID } from 'node:crypto';
import { link, mkdir, open, readFile, rename, rm } from 'node:fs/promises';
import { FindingError, finding } from '../../findings/finding.ts';
import { writeWhole } from '../../ledger/store.ts';
import { c4OfBytes } from '../../files/manifest/c4.ts';
import { CHAIN_FILE, type ChainEntry, HISTORY_FOLDER, writeChain } from '../../files/manifest/chain.ts';
import { syncFolder } from '../../files/folders.ts';
import { printable } from '../../files/names.ts';

async function writeDurably(file: string, bytes: Buffer): Promise<void> {
  const handle = await open(file, 'wx');
  try {
    await handle.writeFile(bytes);
    await handle.sync();
  } finally {
    await handle.close();
  }
}

function taken(place: string): FindingError {
  return new FindingError([
    finding('manifest-exists', printable(place), 'nothing written there meanwhile', {}),
  ]);
}

/** `place`: the folder that is to hold the history. */
export async function writeFirst(place: string, name: string, generation: Buffer): Promise<string> {
  await mkdir(place, { recursive: true });
  // Not mkdtemp, whose folders only their owner may read.
  const staging = `${place}/.manifest-${randomUUID()}`;
  const target = `${place}/${HISTORY_FOLDER}`;
  await mkdir(staging);
  try {
    await writeDurably(`${staging}/${name}`, generation);
    await writeDurably(
      `${staging}/${CHAIN_FILE}`,
      writeChain([{ sequence: 1, file: name, c4: c4OfBytes(generation) }]),
    );
    await syncFolder(staging);
    // A folder that is not empty is never replaced by a rename.
    await rename(staging, target).catch((error: unknown) => {
      throw codeOf(error) === 'ENOTEMPTY' || codeOf(error) === 'EEXIST' ? taken(target) : error;
    });
    await syncFolder(place);
  } finally {
    await rm(staging, { recursive: true, force: true });
  }
  return `${target}/${name}`;
}

/** A chain as it was read, and the bytes that it was read from. */
export interface ReadChain {
  readonly entries: readonly ChainEntry[];
  readonly bytes: Buffer;
}

/** What another run has added to the chain since it was read is never lost. */
export async function writeFurther(
  place: string,
  name: string,
  generation: Buffer,
  chain: ReadChain,
): Promise<string> {
  const folder = `${place}/${HISTORY_FOLDER}`;
  const part = `${folder}/.manifest-${randomUUID()}`;
  const file = `${folder}/${name}`;
  try {
    await writeDurably(part, generation);
    if (!(await readFile(`${folder}/${CHAIN_FILE}`)).equals(chain.bytes)) throw taken(folder);
    // link, not rename: a manifest that stands is never replaced.
    await link(part, file).catch((error: unknown) => {
      throw codeOf(error) === 'EEXIST' ? taken(file) : error;
    });
    await writeWhole(
      `${folder}/${CHAIN_FILE}`,
      writeChain([
        ...chain.entries,
        { sequence: chain.entries.length + 1, file: name, c4: c4OfBytes(generation) },
      ]),
    );
  } finally {
    await rm(part, { force: true });
  }
  return file;
}
