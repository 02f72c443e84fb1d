/**
 * A look at a roll that reads manifests and no other file: what would be found if every byte were as it is stated, and by what a
 * change of anything is seen. The judge is that of intake, so that a roll which looks whole here is refused there only for its bytes.
 */
import { seenTogether } from '../../files/seen.ts';
import type { RollFile } from '../../ledger/roll.ts';
import { createHash } from 'node:crypto';
import { blocks, type Finding } from '../../findings/finding.ts';
import { type GatheredRoll, gatherRoll, type RollPlaces } from './gather.ts';
import { judgeCopy, type Stated } from './judge.ts';
import type { WalkedCopy } from './read.ts';

export interface RollLook {
  /** SHA-256 over names, sizes and times of all files of all copies, and of the manifests: the same on every machine that mounts them. */
  readonly seen: string;
  /** What keeps its manifest from being complete; none: it is. */
  readonly lacks: readonly Finding[];
  readonly files: number;
  /** Of all copies. */
  readonly bytes: number;
}

/** Throws the signal's reason after an abort. */
export async function lookAtRoll(order: RollPlaces, signal: AbortSignal): Promise<RollLook> {
  const gathered = await gatherRoll(order, signal);
  const files = gathered.walked.flatMap(({ walk }) => walk.files);
  return {
    seen: await seenOf(gathered),
    lacks: [
      ...gathered.findings.copies,
      ...gathered.findings.manifests,
      ...gathered.walked.flatMap((copy) =>
        judgeCopy(asStated(copy, gathered.statedOf(copy)), gathered.statedOf(copy), order.roll),
      ),
    ].filter(blocks),
    files: files.length,
    bytes: files.reduce((sum, { bytes }) => sum + bytes, 0),
  };
}

async function seenOf({ places, walked, manifests }: GatheredRoll): Promise<string> {
  const hash = createHash('sha256');
  for (const [index, { folder }] of places.entries()) {
    const copy = walked.find((one) => one.folder === folder);
    const paths = copy?.walk.files.map(({ path }) => path) ?? null;
    hash.update(`${index} ${paths === null ? 'absent' : await seenTogether(folder, paths)}\n`);
  }
  for (const { digests } of manifests) for (const { sha256 } of digests) hash.update(`manifest ${sha256}\n`);
  return hash.digest('hex');
}

/** The copy as if it had been read, and every file had the checksums that are stated of it. */
function asStated({ folder, walk }: WalkedCopy, { statements }: Stated) {
  const files = new Map<string, RollFile>(
    walk.files.map(({ path, bytes }) => [
      path,
      {
        path,
        bytes,
        hashes: Object.fromEntries(
          (statements.get(path)?.hashes ?? []).map(({ algorithm, value }) => [algorithm, value]),
        ),
      },
    ]),
  );
  return { folder, files, unread: new Set<string>(), media: new Set<string>(), findings: [] };
}
