/**
 * Volumes: named places that each machine of a farm mounts where it likes. A volume carries a marker with a random id, made once
 * (`rushlight volume init`); jobs name files as `volume:<name>/<path>`, and each machine finds them below its own mount point.
 */
import { randomBytes } from 'node:crypto';
import { open, readFile, realpath } from 'node:fs/promises';
import { isAbsolute, join, normalize, sep } from 'node:path';
import { parse } from 'yaml';
import { z } from 'zod';
import { codeOf } from '../files/error-code.ts';
import { fsPath } from '../files/names.ts';
import { type Finding, FindingError, finding } from '../findings/finding.ts';
import { OWN_PREFIX } from './layout.ts';
import type { Ticket } from './ticket.ts';

export const MARKER_NAME = `${OWN_PREFIX}volume`;

const nameSchema = z.string().regex(/^[A-Za-z0-9][A-Za-z0-9._-]{0,62}$/, 'letters, digits, . _ -');
/** Where this machine has a volume. */
export const mountSchema = z.object({
  name: nameSchema,
  at: z.string().refine((path) => isAbsolute(path), 'an absolute path'),
});
export type Mount = z.infer<typeof mountSchema>;
/** As its marker says. */
export const volumeSchema = z.object({ name: nameSchema, id: z.string().regex(/^[0-9a-f]{32}$/) });
export type Volume = z.infer<typeof volumeSchema>;

const fileSchema = z.strictObject({ version: z.literal(1), volumes: z.record(z.string(), z.string()) });
const markerSchema = z.looseObject({
  version: z.literal(0),
  kind: z.literal('volume'),
  id: volumeSchema.shape.id,
});

/** `spec`: a file (volumes.yaml), or `name=/path,name=/path`. Throws FindingError (exit 2). */
export async function readMounts(spec: string): Promise<Mount[]> {
  const listed = spec.includes('=');
  const wrong = (found: string): FindingError =>
    new FindingError(
      [
        finding(
          'volumes-wrong',
          found,
          'version: 1, and volumes: with a name and an absolute path each',
          listed ? {} : { file: spec },
        ),
      ],
      2,
    );
  let pairs: (readonly [string, string])[];
  if (listed)
    pairs = spec.split(',').map((part) => {
      const at = part.indexOf('=');
      return [part.slice(0, Math.max(0, at)).trim(), part.slice(at + 1).trim()];
    });
  else {
    try {
      const read = fileSchema.safeParse(parse(await readFile(fsPath(spec), 'utf8')));
      if (!read.success) throw wrong(said(read.error));
      pairs = Object.entries(read.data.volumes);
    } catch (error) {
      throw error instanceof FindingError ? error : wrong((error as Error).message);
    }
  }
  const mounts = pairs.map(([name, at]) => {
    const read = mountSchema.safeParse({ name, at: normalize(at).replace(/(?<=.)\/+$/, '') });
    if (!read.success) throw wrong(`${name}: ${said(read.error)}`);
    return read.data;
  });
  if (mounts.length === 0) throw wrong('no volume');
  for (const field of ['name', 'at'] as const) {
    const twice = mounts.find((one, index) => mounts.findIndex((two) => two[field] === one[field]) < index);
    if (twice !== undefined) throw wrong(`${twice[field]} twice`);
  }
  return mounts;
}

function said({ issues: [issue] }: z.ZodError): string {
  return [issue?.path.join('.'), issue?.message]
    .filter((part) => part !== undefined && part !== '')
    .join(': ');
}

/** Why a volume is not what it should be; `id`: that of the run. */
export async function readMarker(
  { name, at }: Mount,
  id?: string,
): Promise<{ readonly volume: Volume } | { readonly finding: Finding }> {
  const subject = { file: at };
  let text: string;
  try {
    text = await readFile(fsPath(join(at, MARKER_NAME)), 'utf8');
  } catch (error) {
    return {
      finding: finding(
        'volume-marker-missing',
        `${name}: ${codeOf(error)}`,
        `a file ${MARKER_NAME}`,
        subject,
      ),
    };
  }
  const marker = parsedMarker(text);
  if (marker === null)
    return {
      finding: finding('volume-marker-missing', `${name}: damaged`, `a file ${MARKER_NAME}`, subject),
    };
  if (id !== undefined && marker !== id)
    return { finding: finding('volume-differs', `${name}: ${marker}`, id, subject) };
  return { volume: { name, id: marker } };
}

function parsedMarker(text: string): string | null {
  try {
    const read = markerSchema.safeParse(JSON.parse(text));
    return read.success ? read.data.id : null;
  } catch {
    return null;
  }
}

/** Makes the marker; one that is there is kept. Throws what node:fs throws. */
export async function initVolume(at: string): Promise<{ readonly id: string; readonly made: boolean }> {
  const id = randomBytes(16).toString('hex');
  try {
    const handle = await open(fsPath(join(at, MARKER_NAME)), 'wx', 0o644);
    try {
      await handle.writeFile(`${JSON.stringify({ version: 0, kind: 'volume', id })}\n`);
      await handle.sync();
    } finally {
      await handle.close();
    }
    return { id, made: true };
  } catch (error) {
    if (codeOf(error) !== 'EEXIST') throw error;
  }
  const marker = await readMarker({ name: 'volume', at });
  if ('finding' in marker) throw new FindingError([marker.finding], 2);
  return { id: marker.volume.id, made: false };
}

const SCHEME = 'volume:';
export const isVolumePath = (path: string): boolean => path.startsWith(SCHEME);

/** `volume:<name>/<path>`; null: it lies in none of them. */
export function toVolume(mounts: readonly Mount[], path: string): string | null {
  const [mount] = mounts
    .filter(({ at }) => path === at || path.startsWith(at === sep ? at : `${at}${sep}`))
    .sort((a, b) => b.at.length - a.at.length);
  if (mount === undefined) return null;
  return `${SCHEME}${mount.name}/${path.slice(mount.at.length).replace(/^\/+/, '')}`;
}

export const volumeOf = (path: string): string => path.slice(SCHEME.length).split('/', 1)[0] as string;
const below = (path: string): string => path.slice(SCHEME.length + volumeOf(path).length + 1);

/** Where it is on this machine. A finding: it names no volume that is here, or leaves it. */
export function fromVolume(mounts: readonly Mount[], path: string): string | Finding {
  if (!isVolumePath(path)) return finding('job-path-absolute', path, 'volume:<name>/<path>', { file: path });
  const name = volumeOf(path);
  const mount = mounts.find((one) => one.name === name);
  if (mount === undefined)
    return finding('volume-unknown', `no volume ${name} on this machine`, 'its mount point', { file: path });
  const rest = below(path);
  if (rest.split('/').includes('..') || rest.includes('\0') || isAbsolute(rest)) return leaves(path);
  return join(mount.at, rest);
}

const leaves = (path: string): Finding =>
  finding('volume-path-leaves', path, 'a path that stays in its volume', { file: path });

/** The same, with every link followed. null: it stays inside. What is not there is others' to say. */
export async function leavesVolume(mounts: readonly Mount[], path: string): Promise<Finding | null> {
  const here = fromVolume(mounts, path);
  if (typeof here !== 'string') return here;
  const mount = mounts.find(({ name }) => name === volumeOf(path)) as Mount;
  try {
    const [real, root] = [await realpath(fsPath(here)), await realpath(fsPath(mount.at))];
    return real === root || real.startsWith(root === sep ? root : `${root}${sep}`) ? null : leaves(path);
  } catch {
    return null;
  }
}

/** A path as every machine understands it. Throws RangeError for one that lies in no volume. */
export function portablePath(path: string, mounts: readonly Mount[]): string {
  const found = toVolume(mounts, path);
  if (found === null) throw new RangeError(`${path} lies in no volume`);
  return found;
}

/** A job as every machine understands it. Its folders lie in volumes. Throws RangeError when they do not. */
export function portableTicket(ticket: Ticket, mounts: readonly Mount[]): Ticket {
  const { rollFolder, deliveryFolder, soundFolders } = ticket;
  const named = (path: string): string => portablePath(path, mounts);
  return {
    ...ticket,
    rollFolder: named(rollFolder),
    deliveryFolder: named(deliveryFolder),
    ...(soundFolders === undefined ? {} : { soundFolders: soundFolders.map(named) }),
  };
}

/** The job with the paths of this machine. `mounts` null: a farm without volumes, whose machines have equal paths. */
export function localTicket(
  ticket: Ticket,
  mounts: readonly Mount[] | null,
): { readonly ticket: Ticket } | { readonly finding: Finding } {
  const { rollFolder, deliveryFolder, soundFolders = [] } = ticket;
  const folders = [rollFolder, deliveryFolder, ...soundFolders];
  if (mounts === null && !folders.some(isVolumePath)) return { ticket };
  const here = folders.map((folder) => fromVolume(mounts ?? [], folder));
  const lacking = here.find((one) => typeof one !== 'string');
  if (lacking !== undefined) return { finding: lacking };
  const [roll, delivery, ...sounds] = here as string[];
  return {
    ticket: {
      ...ticket,
      rollFolder: roll as string,
      deliveryFolder: delivery as string,
      ...(ticket.soundFolders === undefined ? {} : { soundFolders: sounds }),
    },
  };
}

/** Names a place whoever mounts it wherever: its volume's id and the path below; null: it lies in none. */
export function placeId(mounts: readonly Mount[], volumes: readonly Volume[], path: string): string | null {
  const named = toVolume(mounts, path);
  const volume = named === null ? undefined : volumes.find(({ name }) => name === volumeOf(named));
  return named === null || volume === undefined ? null : `${volume.id}:${below(named)}`;
}
