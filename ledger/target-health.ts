/** What an error says of the delivery that is written to. Coordinator and worker must agree on it: one waits for what the other meets. */
import { link, open, readFile, rename, rm } from 'node:fs/promises';
import { codeOf } from '../files/error-code.ts';
import { type Finding, type FindingSubject, finding } from '../findings/finding.ts';

export const targetTroubles = ['full', 'read-only', 'gone'] as const;
export type TargetTrouble = (typeof targetTroubles)[number];

const TROUBLES: Readonly<Record<TargetTrouble, readonly string[]>> = {
  full: ['ENOSPC', 'EDQUOT'],
  'read-only': ['EROFS', 'EACCES', 'EPERM'],
  // ESTALE, EIO: network shares whose server went away; ENXIO, ENODEV: drives that were pulled.
  gone: ['ENOENT', 'ENOTDIR', 'ESTALE', 'EIO', 'ENXIO', 'ENODEV'],
};

/** null: an error of another kind. */
export function targetTroubleOf(error: unknown): TargetTrouble | null {
  const code = codeOf(error);
  return targetTroubles.find((failure) => TROUBLES[failure].includes(code)) ?? null;
}

/** `found`: the error's own word, where there is one. */
export function targetFinding(
  failure: TargetTrouble,
  folder: string,
  { found, ...subject }: FindingSubject & { readonly found?: string } = {},
): Finding {
  const place = { ...subject, file: folder };
  switch (failure) {
    case 'full':
      return finding('target-full', found ?? 'no room left', 'room for what is made', place);
    case 'read-only':
      return finding(
        'target-read-only',
        found ?? 'writing is refused',
        'a folder that can be written',
        place,
      );
    case 'gone':
      return finding('target-gone', found ?? 'the folder is not there', 'the folder of the delivery', place);
  }
}

/** Codes of a file system without link(2); publishing does without it there. */
const NO_LINKS = new Set(['EPERM', 'ENOTSUP', 'EOPNOTSUPP', 'ENOSYS', 'EMLINK']);

/**
 * All that publishing asks of a folder, on a little file that is taken away again: written and kept, linked, renamed, read back.
 * Throws what node:fs throws; and EIO when other bytes come back.
 */
export async function tryKeeping(path: string, bytes: Buffer): Promise<void> {
  const [linked, renamed] = [`${path}-linked`, `${path}-renamed`];
  try {
    const handle = await open(path, 'wx');
    try {
      await handle.writeFile(bytes);
      await handle.sync();
    } finally {
      await handle.close();
    }
    try {
      await link(path, linked);
    } catch (error) {
      if (!NO_LINKS.has(codeOf(error))) throw error;
    }
    await rename(path, renamed);
    if (!(await readFile(renamed)).equals(bytes))
      throw Object.assign(new Error(`other bytes came back from ${renamed}`), { code: 'EIO', path: renamed });
  } finally {
    for (const one of [path, linked, renamed]) await rm(one, { force: true }).catch(() => undefined);
  }
}

/** Writes so many bytes to a new file, keeps them, and takes the file away: what a volume says of its room is no proof. Throws what node:fs throws. */
export async function tryWriting(path: string, bytes: number): Promise<void> {
  try {
    const handle = await open(path, 'wx');
    try {
      await handle.writeFile(Buffer.alloc(bytes, 1));
      await handle.sync();
    } finally {
      await handle.close();
    }
  } finally {
    await rm(path, { force: true }).catch(() => undefined);
  }
}
