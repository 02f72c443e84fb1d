/** The folders of a night: there, apart from each other, and by their real paths. */
import { codeOf } from '../../files/error-code.ts';
import { createHash } from 'node:crypto';
import { existsSync, mkdirSync, realpathSync, statSync } from 'node:fs';
import { homedir } from 'node:os';
import { basename, dirname, join, resolve, sep } from 'node:path';
import { FindingError, type Finding, finding } from '../../findings/finding.ts';
import { targetFinding, targetTroubleOf } from '../../ledger/target-health.ts';

export interface FolderRequest {
  readonly day: string;
  readonly copies: readonly string[];
  readonly deliver?: string;
  readonly work?: string;
  readonly manifests?: readonly string[];
}

export interface NightFolders {
  readonly day: string;
  /** Last part of the shoot day's path as it was given, links and all: names the day in the delivery. */
  readonly dayName: string;
  /** Of a pull, which is a day of its own in the delivery: how the shoot day is called. Absent: likewise. */
  readonly shootDay?: string;
  readonly copies: readonly string[];
  /** `` when the command delivers nothing. */
  readonly delivery: string;
  readonly work: string;
  readonly manifests: readonly string[];
}

/** Real path also of what does not exist yet: as far as it exists, and the rest. */
export function realPath(path: string): string {
  let place = resolve(path);
  const rest: string[] = [];
  while (!existsSync(place) && dirname(place) !== place) {
    rest.unshift(basename(place));
    place = dirname(place);
  }
  return join(realpathSync(place), ...rest);
}

/**
 * Where a delivery's queue store and logs lie when nobody says: the user's cache, named by the delivery. Not in the
 * delivery, which is copied on to others. Deleting it between runs loses the logs alone.
 */
export function defaultWorkFolder(delivery: string): string {
  const cache =
    process.env.XDG_CACHE_HOME ??
    (process.platform === 'darwin' ? join(homedir(), 'Library', 'Caches') : join(homedir(), '.cache'));
  const digest = createHash('sha256').update(realPath(delivery)).digest('hex').slice(0, 12);
  return join(
    cache,
    'rushlight',
    `${basename(delivery)
      .replace(/[^A-Za-z0-9._-]/g, '_')
      .slice(0, 40)}-${digest}`,
  );
}

function isFolder(path: string): boolean {
  return statSync(path, { throwIfNoEntry: false })?.isDirectory() === true;
}

const inside = (inner: string, outer: string): boolean =>
  inner === outer || inner.startsWith(outer.endsWith(sep) ? outer : outer + sep);

function sameFolder(a: string, b: string): boolean {
  const one = statSync(a, { throwIfNoEntry: false });
  const other = statSync(b, { throwIfNoEntry: false });
  // Two mounts of one folder have two paths and one inode.
  return one !== undefined && other !== undefined && one.dev === other.dev && one.ino === other.ino;
}

/** Throws FindingError (exit 2). Makes nothing. */
export function nightFolders(request: FolderRequest): NightFolders {
  const findings: Finding[] = [];
  const need = (path: string, what: string): void => {
    if (!isFolder(path))
      findings.push(
        finding('folder-missing', existsSync(path) ? 'not a folder' : 'nothing there', what, { file: path }),
      );
  };
  const day = realPath(request.day);
  const copies = request.copies.map(realPath);
  const manifests = (request.manifests ?? []).map(realPath);
  const delivery = request.deliver === undefined ? '' : realPath(request.deliver);
  const work =
    request.work !== undefined
      ? realPath(request.work)
      : realPath(defaultWorkFolder(delivery === '' ? day : delivery));
  need(day, 'the shoot day');
  for (const copy of copies) need(copy, 'a copy of the shoot day');
  for (const folder of manifests) need(folder, 'a folder with manifests');
  // Only its last part is made: on a volume that is not mounted the whole path would come to lie on the wrong disk.
  if (delivery !== '' && !existsSync(delivery))
    need(dirname(delivery), 'the folder that the delivery is to lie in');
  else if (delivery !== '') need(delivery, 'the delivery');

  const roles: [name: string, path: string][] = [
    ['the shoot day', day],
    ...copies.map((path, index): [string, string] => [`copy ${index + 1}`, path]),
  ];
  if (delivery !== '') roles.push(['the delivery', delivery]);
  if (delivery !== '' || request.work !== undefined) roles.push(['the work folder', work]);
  for (const [index, [name, path]] of roles.entries()) {
    for (const [otherName, other] of roles.slice(index + 1)) {
      const overlap = (found: string, expected: string, file: string): unknown =>
        findings.push(finding('folders-overlap', found, expected, { file }));
      if (path === other || sameFolder(path, other))
        overlap(`${name} and ${otherName} are one folder`, 'two folders', path);
      else if (inside(other, path))
        overlap(`${otherName} (${other}) lies inside ${name}`, 'two separate folders', path);
      else if (inside(path, other))
        overlap(`${name} (${path}) lies inside ${otherName}`, 'two separate folders', other);
    }
  }
  if (findings.length > 0) throw new FindingError(findings, 2);
  return { day, dayName: basename(resolve(request.day)), copies, delivery, work, manifests };
}

/** Makes the last part of the delivery's path; true: it was not there. Throws FindingError (exit 1) when the place cannot be written. */
export function makeDelivery(delivery: string): boolean {
  try {
    // Not recursive: on a read-only volume Node would then report ENOENT instead of EROFS.
    mkdirSync(delivery);
    return true;
  } catch (error) {
    if (codeOf(error) === 'EEXIST') return false;
    const found = codeOf(error) || String(error);
    const trouble = targetTroubleOf(error);
    // It was never there: that it is gone would be the wrong word.
    throw new FindingError(
      [
        trouble === null || trouble === 'gone'
          ? finding('delivery-not-made', found, 'a folder that can be made', { file: delivery })
          : targetFinding(trouble, delivery, { found }),
      ],
      1,
    );
  }
}
