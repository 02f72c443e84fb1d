/** Intake: every byte of every copy of a roll, against its manifests and against the other copies. */
import { mountsHere } from '../../files/mounts.ts';
import { seenDigest } from '../../files/seen.ts';
import { type Finding, finding, blocks } from '../../findings/finding.ts';
import { FindingTally } from '../../findings/tally.ts';
import type { CopyResult } from '../../ledger/roll.ts';
import { createHashPool } from '../../files/manifest/hash-pool.ts';
import { isManifestPath } from '../../files/manifest/manifest-name.ts';
import { type CopyPlace, isNumbered } from './apart.ts';
import { gatherRoll, type RollPlaces } from './gather.ts';
import { compareCopies, judgeCopy } from './judge.ts';
import type { CopyReads, KeptReads } from './kept-reads.ts';
import { placeOfCopy } from './place.ts';
import { type ReadCopy, readCopy, type WalkedCopy } from './read.ts';
import type { ReadRoll } from './since.ts';
import { type Told, tellApart } from './tell-apart.ts';

export { type DiscoveredRoll, discoverRolls } from './discover.ts';

export interface IntakeProgress {
  readonly readBytes: number;
  /** Of all copies together. */
  readonly totalBytes: number;
}

export interface IntakeOrder extends RollPlaces {
  /** Files that are read at once, 1 or more. */
  readonly readers: number;
  readonly onProgress?: (progress: IntakeProgress) => void;
  /** What this machine has read before; absent: everything is read. */
  readonly kept?: KeptReads | undefined;
  readonly signal?: AbortSignal;
}

interface CopyToReport {
  readonly folder: string;
  /** Absent: it could not be read. */
  readonly copy: ReadCopy | undefined;
  readonly place: CopyPlace | undefined;
  readonly proved: boolean;
}

function resultOf(
  { folder, copy, place, proved }: CopyToReport,
  { oneWith }: Pick<Told, 'oneWith'>,
  findings: readonly Finding[],
): CopyResult {
  const files = [...(copy?.files.values() ?? [])];
  // That two copies differ says not which of them is wrong: the manifests do.
  const faults = findings.some(
    (item) =>
      blocks(item) && item.code !== 'copy-differs' && (item.copy === folder || item.copy === undefined),
  );
  return {
    folder,
    files: files.length,
    bytes: files.reduce((sum, file) => sum + file.bytes, 0),
    verified: copy !== undefined && proved && !faults,
    ...(oneWith.has(folder) ? { oneWith: oneWith.get(folder) as string } : {}),
    ...(place !== undefined && isNumbered(place)
      ? {
          seen: seenDigest(
            files.map(({ path, seen }) => [path, seen ?? null] as const),
            'with-numbers',
          ),
        }
      : {}),
  };
}

async function placesOf(walked: readonly WalkedCopy[]): Promise<CopyPlace[]> {
  const mounts = await mountsHere();
  const places: CopyPlace[] = [];
  for (const { folder, walk } of walked)
    places.push(
      await placeOfCopy(
        folder,
        walk.files.map(({ path }) => path),
        mounts,
      ),
    );
  return places;
}

/**
 * What is the matter with a roll is in its result. Throws the signal's reason after an abort, and what is a fault of
 * this program or machine (a reading thread that dies).
 */
export async function intakeRoll(order: IntakeOrder): Promise<ReadRoll> {
  const { day, roll, folder, signal } = order;
  const { places, walked, manifests, statedOf, findings: gathered } = await gatherRoll(order, signal);
  const findings = new FindingTally();
  findings.addAll(gathered.copies);
  const lies = await placesOf(walked);
  const told = tellApart(lies, roll);
  findings.addAll(told.findings);
  findings.addAll(gathered.manifests);

  let totalBytes = walked.reduce(
    (sum, { walk }) => sum + walk.files.reduce((part, file) => part + file.bytes, 0),
    0,
  );
  let readBytes = 0;
  const onBytes = (bytes: number): void => {
    readBytes += bytes;
    order.onProgress?.({ readBytes, totalBytes });
  };
  const onKept = (bytes: number): void => {
    totalBytes -= bytes;
    order.onProgress?.({ readBytes, totalBytes });
  };
  let notKept: unknown = null;
  const onNotKept = (error: unknown): void => void (notKept ??= error);
  const keptOf = async ({ folder: copy }: WalkedCopy): Promise<CopyReads | undefined> => {
    const place = lies.find((one) => one.folder === copy);
    return place !== undefined && isNumbered(place) ? await order.kept?.of(copy) : undefined;
  };
  const pool = createHashPool(order.readers);
  let copies: ReadCopy[];
  try {
    copies = await Promise.all(
      walked.map(async (copy) =>
        readCopy(copy, {
          ...{ roll, statements: statedOf(copy).statements, pool, signal },
          ...{ kept: await keptOf(copy), onBytes, onKept, onNotKept },
        }),
      ),
    );
  } finally {
    await pool.close();
  }
  if (notKept !== null)
    findings.add(finding('reads-not-kept', String(notKept), 'a folder that can be written', { roll }));
  const working = copies.find((copy) => copy.folder === folder);
  for (const copy of copies) {
    findings.addAll(copy.findings);
    findings.addAll(judgeCopy(copy, statedOf(copy), roll));
    if (working !== undefined && copy !== working)
      findings.addAll(
        compareCopies(working, copy, { working: statedOf(working), other: statedOf(copy) }, roll),
      );
  }
  const files = [...(working?.files.values() ?? [])];
  if (
    working !== undefined &&
    working.unread.size === 0 &&
    files.every((file) => isManifestPath(file.path))
  ) {
    findings.add(finding('roll-empty', '0 files', 'at least one clip', { roll, copy: folder }));
  }
  findings.addAll(
    files
      .filter((file) => file.bytes === 0)
      .map((file) =>
        finding('file-empty', '0 bytes', 'at least one byte', { roll, copy: folder, file: file.path }),
      ),
  );
  const tallied = findings.findings();
  const reported = manifests.map(({ file, kind, statements, digests }) => ({
    file,
    kind,
    files: statements.length,
    digests: [...digests],
  }));
  const result = (place: string): CopyResult =>
    resultOf(
      {
        folder: place,
        copy: copies.find((copy) => copy.folder === place),
        place: lies.find(({ folder: other }) => other === place),
        proved: statedOf({ folder: place }).statements.size > 0,
      },
      told,
      tallied,
    );
  return {
    day,
    roll,
    folder,
    manifests: reported,
    copies: places.map((place) => result(place.folder)),
    files,
    findings: tallied,
    asRead: copies.map((copy) => ({ folder: copy.folder, files: [...copy.files.values()] })),
  };
}
