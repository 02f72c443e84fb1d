/** Intake: every byte of every copy of a roll, against its manifests and against the other copies. */
import { stat } from 'node:fs/promises';
import { mountsHere } from '../../files/mounts.ts';
import { seenDigest } from '../../files/seen.ts';
import { type Finding, finding, blocks, uniqueFindings } from '../../findings/finding.ts';
import { FindingTally } from '../../findings/tally.ts';
import type { CopyResult } from '../../ledger/roll.ts';
import type { DayManifests } from '../../files/manifest/day.ts';
import { type FoundManifests, findManifests, mergeStatements } from '../../files/manifest/find.ts';
import { createHashPool } from '../../files/manifest/hash-pool.ts';
import { isManifestPath } from '../../files/manifest/manifest-name.ts';
import type { ReadManifest } from '../../files/manifest/read.ts';
import { respell } from '../../files/manifest/spelling.ts';
import { fsPath } from '../../files/names.ts';
import { type CopyPlace, isNumbered } from './apart.ts';
import { discoverRolls } from './discover.ts';
import { compareCopies, judgeCopy, type Stated } from './judge.ts';
import { placeOfCopy } from './place.ts';
import { type ReadCopy, readCopy, type WalkedCopy, walkCopy } from './read.ts';
import type { ReadRoll } from './since.ts';
import { type Told, tellApart } from './tell-apart.ts';

export { type DiscoveredRoll, discoverRolls } from './discover.ts';

export interface IntakeProgress {
  readonly readBytes: number;
  /** Of all copies together. */
  readonly totalBytes: number;
}

export interface IntakeOrder {
  readonly day: string;
  readonly roll: string;
  /** The working copy of the roll. */
  readonly folder: string;
  /** Day folders of the other copies. */
  readonly copies: readonly string[];
  /** Folders of manifests that are kept apart from the rolls. */
  readonly manifests: readonly string[];
  /** Manifests of the whole day, read once for all of its rolls. */
  readonly dayManifests: DayManifests;
  /** Files that are read at once, 1 or more. */
  readonly readers: number;
  readonly onProgress?: (progress: IntakeProgress) => void;
  readonly signal?: AbortSignal;
}

/** Device and inode of a folder; null when it is none or cannot be reached. */
async function folderIdentity(folder: string): Promise<string | null> {
  try {
    const status = await stat(fsPath(folder), { bigint: true });
    return status.isDirectory() ? `${status.dev}:${status.ino}` : null;
  } catch {
    // The caller says what it means that the folder is missing.
    return null;
  }
}

/** The roll's folder in a copy of the day: below it, or one step further down as in the day itself. */
async function rollInCopy(day: string, roll: string): Promise<string | null> {
  if ((await folderIdentity(`${day}/${roll}`)) !== null) return `${day}/${roll}`;
  if ((await folderIdentity(day)) === null) return null;
  try {
    return (await discoverRolls(day)).rolls.find(({ name }) => name === roll)?.folder ?? null;
  } catch {
    // A day that cannot be listed lacks the roll as far as can be known, and that holds it.
    return null;
  }
}

/** The other copies' folders; those that cannot be used have a finding and stand as null. */
async function locateCopies(
  order: IntakeOrder,
): Promise<{ places: { folder: string; there: boolean }[]; findings: Finding[] }> {
  const findings: Finding[] = [];
  const places: { folder: string; there: boolean }[] = [{ folder: order.folder, there: true }];
  const seen = new Map<string, string>();
  const own = await folderIdentity(order.folder);
  if (own !== null) seen.set(own, order.folder);
  for (const day of order.copies) {
    const folder = await rollInCopy(day, order.roll);
    const identity = folder === null ? null : await folderIdentity(folder);
    if (folder === null || identity === null) {
      findings.push(
        finding('copy-lacks-roll', 'no such folder', `a folder ${order.roll}`, {
          roll: order.roll,
          copy: `${day}/${order.roll}`,
        }),
      );
      places.push({ folder: `${day}/${order.roll}`, there: false });
      continue;
    }
    const earlier = seen.get(identity);
    if (earlier !== undefined)
      findings.push(
        finding('copy-same-place', `the same folder as ${earlier}`, 'a folder of its own', {
          roll: order.roll,
          copy: folder,
        }),
      );
    seen.set(identity, folder);
    places.push({ folder, there: earlier === undefined });
  }
  return { places, findings };
}

/** Manifests of all copies together: one that another copy keeps may contradict those of the working copy. */
function manifestsOf(
  found: readonly FoundManifests[],
  roll: string,
): { manifests: ReadManifest[]; findings: Finding[] } {
  const manifests = found.flatMap((item) => item.manifests);
  const findings: Finding[] = found.flatMap((item) => item.findings).map((item) => ({ ...item, roll }));
  if (manifests.length === 0 && !findings.some(blocks))
    findings.push(
      finding(
        'manifest-missing',
        findings.length === 0 ? 'none is there' : 'none is used: the notes say why',
        'at least one manifest of the roll',
        { roll },
      ),
    );
  return { manifests, findings };
}

/** What the manifests state of the files of one copy, under the names that they have there. */
function statedFor(
  copy: WalkedCopy,
  manifests: readonly ReadManifest[],
  roll: string,
): { stated: Stated; findings: Finding[] } {
  const present = new Set(copy.walk.files.map(({ path }) => path));
  const spelled = manifests.map((manifest) => ({ manifest, ...respell(manifest.statements, present) }));
  const merged = mergeStatements(spelled.map(({ manifest, statements }) => ({ ...manifest, statements })));
  const spelling = spelled
    .flatMap((item) => item.findings)
    .map((item) => ({ ...item, roll, copy: copy.folder }));
  return {
    stated: { statements: merged.statements, ignore: manifests.flatMap((manifest) => manifest.ignore) },
    findings: uniqueFindings([...spelling, ...merged.findings.map((item) => ({ ...item, roll }))]),
  };
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
  const located = await locateCopies(order);
  const { places } = located;
  const findings = new FindingTally();
  findings.addAll(located.findings);
  const walked: WalkedCopy[] = [];
  for (const place of places.filter(({ there }) => there)) {
    const walk = await walkCopy(place.folder, roll, signal);
    if ('walked' in walk) walked.push(walk.walked);
    else findings.add(walk.fault);
  }
  const lies = await placesOf(walked);
  const told = tellApart(lies, roll);
  findings.addAll(told.findings);
  const found: FoundManifests[] = [];
  for (const copy of walked) {
    const present = new Set(copy.walk.files.flatMap(({ path }) => [path, path.normalize()]));
    // What lies outside the copies counts once.
    const first = copy === walked[0];
    found.push(
      await findManifests({
        folder: copy.folder,
        roll,
        day,
        apart: first ? order.manifests : [],
        ofDay: first ? order.dayManifests.byRoll.get(roll) : undefined,
        present,
      }),
    );
  }
  const { manifests, findings: manifestFindings } = manifestsOf(found, roll);
  const stated = new Map(walked.map((copy) => [copy.folder, statedFor(copy, manifests, roll)]));
  const statedOf = (copy: { readonly folder: string }): Stated =>
    stated.get(copy.folder)?.stated ?? { statements: new Map(), ignore: [] };
  findings.addAll(
    uniqueFindings([...manifestFindings, ...[...stated.values()].flatMap((item) => item.findings)]),
  );

  const totalBytes = walked.reduce(
    (sum, { walk }) => sum + walk.files.reduce((part, file) => part + file.bytes, 0),
    0,
  );
  let readBytes = 0;
  const onBytes = (bytes: number): void => {
    readBytes += bytes;
    order.onProgress?.({ readBytes, totalBytes });
  };
  const pool = createHashPool(order.readers);
  let copies: ReadCopy[];
  try {
    copies = await Promise.all(
      walked.map((copy) =>
        readCopy(copy, { roll, statements: statedOf(copy).statements, pool, onBytes, signal }),
      ),
    );
  } finally {
    await pool.close();
  }
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
