/**
 * Whether two copies of a roll are two: by the files' own numbers where the file system has such, else by the mount and
 * the place on it. Pure; `place.ts` looks at the disk.
 *
 *   same       a file of one is a file of the other: hard links, a folder under two names. Holds.
 *   unknown    nothing here can tell: both count as one copy, and a note says so
 *   one-drive  two, on one file system, drive or server: a note, since what takes one takes the other
 *   apart
 */
import type { Mount } from '../../files/mounts.ts';
import { hasNumbers, isLinkless, serverOf, storageKind, type StorageKind } from '../../files/storage.ts';

export interface CopyPlace {
  readonly folder: string;
  /** null: the system keeps no list of mounts; then numbers alone decide. */
  readonly mount: Mount | null;
  /** Path of the folder on its file system, whatever is mounted where. */
  readonly inner: string;
  /** The drive or file system that it lies on, under a name that is the same for all of its mounts. */
  readonly drive: string;
  /** Whether every folder that a stacked file system shows could be looked into. */
  readonly layersSeen: boolean;
  /** Of each file, by path: every identity that it has, `<file system>:<number>`, first its own. */
  readonly files: ReadonlyMap<string, readonly string[]>;
}

export type Relation =
  | { readonly kind: 'same'; readonly files: readonly (readonly [mine: string, theirs: string])[] }
  | { readonly kind: 'unknown' | 'one-drive'; readonly why: string }
  | { readonly kind: 'apart' };

const kindOf = ({ mount }: CopyPlace): StorageKind => (mount === null ? 'local' : storageKind(mount));
export const isNumbered = ({ mount }: Pick<CopyPlace, 'mount'>): boolean =>
  mount === null || hasNumbers(mount);
const isNetwork = (kind: StorageKind): boolean => kind === 'network' || kind === 'network-numberless';

export function relationOf(mine: CopyPlace, theirs: CopyPlace): Relation {
  const sameSystem = mine.mount !== null && mine.mount.device === theirs.mount?.device;
  if (isNumbered(mine) && isNumbered(theirs)) {
    const shared = sharedFiles(mine, theirs);
    if (shared.length > 0) return { kind: 'same', files: shared };
  } else if (sameSystem && mine.inner === theirs.inner)
    return { kind: 'same', files: [...mine.files.keys()].map((path) => [path, path]) };
  const why = notTold(mine, theirs, sameSystem);
  if (why !== null) return { kind: 'unknown', why };
  return mine.drive === theirs.drive ? { kind: 'one-drive', why: mine.drive } : { kind: 'apart' };
}

function sharedFiles(mine: CopyPlace, theirs: CopyPlace): (readonly [string, string])[] {
  const owners = new Map<string, string>();
  for (const [path, ids] of theirs.files) for (const id of ids) owners.set(id, path);
  return [...mine.files].flatMap(([path, ids]) => {
    const other = ids.map((id) => owners.get(id)).find((one) => one !== undefined);
    return other === undefined ? [] : [[path, other] as const];
  });
}

/** Why the two may be one for all that can be seen; null: they are two. */
function notTold(mine: CopyPlace, theirs: CopyPlace, sameSystem: boolean): string | null {
  const [a, b] = [kindOf(mine), kindOf(theirs)];
  // On one file system a number is one file's, whatever kind it is, as long as it has numbers.
  if (sameSystem && isNumbered(mine)) return null;
  if (sameSystem)
    return mine.mount !== null && isLinkless(mine.mount)
      ? null
      : `both on one ${mine.mount?.type ?? ''} file system, which has no file numbers that last`;
  for (const place of [mine, theirs])
    if (kindOf(place) === 'stacked' && !place.layersSeen)
      return `${place.folder} lies on ${place.mount?.type ?? ''}, which shows folders that cannot be looked into from here`;
  if (isNetwork(a) && isNetwork(b)) {
    if (isNumbered(mine) && isNumbered(theirs))
      return haveOneNumbering(mine, theirs)
        ? 'every file has the same number on both shares: they may be one share under two names'
        : null;
    return mine.mount?.source === theirs.mount?.source ||
      (serverOf(mine.mount as Mount) ?? '') === (serverOf(theirs.mount as Mount) ?? '')
      ? `both come from ${theirs.mount?.source ?? ''} or its server, by a file system without file numbers that last`
      : null;
  }
  return null;
}

/** True where each file of one is there in the other with the same number: two copies of many files have other numbers by all experience. */
function haveOneNumbering(mine: CopyPlace, theirs: CopyPlace): boolean {
  const numberOf = (ids: readonly string[] | undefined): string | undefined => ids?.[0]?.split(':').at(-1);
  const files = [...mine.files];
  return files.length > 0 && files.every(([path, ids]) => numberOf(theirs.files.get(path)) === numberOf(ids));
}
