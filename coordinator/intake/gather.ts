/** What is known of a roll before a byte of a file is read: its copies, what lies in them, and what the manifests state of it. */
import { stat } from 'node:fs/promises';
import { fsPath } from '../../files/names.ts';
import { type FoundManifests, findManifests, mergeStatements } from '../../files/manifest/find.ts';
import type { DayManifests } from '../../files/manifest/day.ts';
import type { ReadManifest } from '../../files/manifest/read.ts';
import { respell } from '../../files/manifest/spelling.ts';
import { blocks, type Finding, finding, uniqueFindings } from '../../findings/finding.ts';
import { discoverRolls } from './discover.ts';
import type { Stated } from './judge.ts';
import { type WalkedCopy, walkCopy } from './read.ts';

/** Which roll, and where its copies and manifests are looked for. */
export interface RollPlaces {
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
}

export interface GatheredRoll {
  readonly places: readonly { readonly folder: string; readonly there: boolean }[];
  /** Those that could be listed. */
  readonly walked: readonly WalkedCopy[];
  readonly manifests: readonly ReadManifest[];
  /** Of the copy of this folder. */
  statedOf(copy: { readonly folder: string }): Stated;
  /** Of copies and of manifests, apart, in the order in which they are told. */
  readonly findings: { readonly copies: readonly Finding[]; readonly manifests: readonly Finding[] };
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
  order: RollPlaces,
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

/** Reads manifests, and lists folders; of other files it opens none. Throws the signal's reason after an abort. */
export async function gatherRoll(order: RollPlaces, signal: AbortSignal | undefined): Promise<GatheredRoll> {
  const { day, roll } = order;
  const located = await locateCopies(order);
  const ofCopies = [...located.findings];
  const walked: WalkedCopy[] = [];
  for (const place of located.places.filter(({ there }) => there)) {
    const walk = await walkCopy(place.folder, roll, signal);
    if ('walked' in walk) walked.push(walk.walked);
    else ofCopies.push(walk.fault);
  }
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
  const { manifests, findings } = manifestsOf(found, roll);
  const stated = new Map(walked.map((copy) => [copy.folder, statedFor(copy, manifests, roll)]));
  return {
    places: located.places,
    walked,
    manifests,
    statedOf: ({ folder }) => stated.get(folder)?.stated ?? { statements: new Map(), ignore: [] },
    findings: {
      copies: ofCopies,
      manifests: uniqueFindings([...findings, ...[...stated.values()].flatMap((item) => item.findings)]),
    },
  };
}
