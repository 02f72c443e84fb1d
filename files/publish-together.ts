/**
 * Gives a movie and the files beside it (sidecars) their final names, so that nobody finds the movie under its name before all that
 * belongs to it has its own: sidecars first, the movie last. POSIX has no step that names several files at once; the movie's name is the
 * one that counts. Each file is published by the rules of publish.ts.
 *
 * Where an older movie of our own has the name and its sidecars are others, it is moved aside first, to a staging name: an older movie
 * beside newer sidecars would say of itself what is not so. Whoever calls has written down `publishing` by then:
 *
 *   before the first step         the older set stands, the new one is staged
 *   after the movie moved aside   no movie has the name; both lie there as leftovers
 *   after a sidecar               no movie has the name; what is staged and what has its name are the new set, whole
 *   after the movie               the new set stands; the older movie lies there as a leftover
 *
 * The next run publishes what is left (worker/resume-publish.ts).
 */
import { codeOf } from './error-code.ts';
import { rm } from 'node:fs/promises';
import { dirname } from 'node:path';
import { type FileDigest, digestOfFile } from './digest.ts';
import { syncFolder } from './folders.ts';
import { fsPath } from './names.ts';
import {
  lstatBig,
  provesStaged,
  publishFile,
  type PublishRequest,
  type PublishResult,
  renamePatiently,
} from './publish.ts';

export type StagedFile = Pick<PublishRequest, 'staged' | 'final' | 'checked'>;

export interface TogetherRequest extends PublishRequest {
  /** In the order in which they get their names; in the folder of `final`. */
  readonly beside: readonly StagedFile[];
  /** Final names of sidecars that this set does not have: older ones of our own are taken away. */
  readonly obsolete: readonly string[];
}

/** Every step that changes what has a name. Given so that a test can end the program between any two of them. */
export interface TogetherMoves {
  publish(request: PublishRequest): Promise<PublishResult>;
  rename(from: string, to: string): Promise<void>;
  remove(path: string): Promise<void>;
}

const onDisk: TogetherMoves = {
  publish: publishFile,
  rename: renamePatiently,
  remove: (path) => rm(fsPath(path), { force: true }),
};

type Standing =
  | { readonly kind: 'free' | 'same' | 'older' }
  | { readonly kind: 'others'; readonly what: string };

/** What has the name now. `checked` null: nothing is wanted there. Reads the file whole, unless it is the very one that was checked. */
async function standingAt(
  path: string,
  checked: FileDigest | null,
  { isOurs, signal }: Pick<PublishRequest, 'isOurs' | 'signal'>,
): Promise<Standing> {
  try {
    const stats = await lstatBig(path);
    if (!stats.isFile())
      return {
        kind: 'others',
        what: stats.isSymbolicLink() ? 'a symbolic link' : stats.isDirectory() ? 'a folder' : 'no plain file',
      };
    if (checked !== null && stats.ino === checked.inode && stats.dev === checked.device)
      return { kind: 'same' };
    const there = await digestOfFile(path, signal);
    if (checked !== null && there.sha256 === checked.sha256) return { kind: 'same' };
    return isOurs(there.xxh128)
      ? { kind: 'older' }
      : {
          kind: 'others',
          what: `a file of ${there.bytes} bytes, XXH128 ${there.xxh128}, that no report of ours names`,
        };
  } catch (error) {
    if (codeOf(error) === 'ENOENT') return { kind: 'free' };
    throw error;
  }
}

/** Throws as `publishFile` does. `taken`: of the movie or of a sidecar; nothing was changed where it was so from the beginning. */
export async function publishTogether(
  request: TogetherRequest,
  moves: TogetherMoves = onDisk,
): Promise<PublishResult> {
  const { beside, obsolete, ...movie } = request;
  const { staged, final, checked, isOurs, signal } = movie;
  const asked = { isOurs, ...(signal === undefined ? {} : { signal }) };
  // All of it is looked at before any of it gets a name.
  await provesStaged(movie);
  const open: StagedFile[] = [];
  for (const file of beside) {
    const there = await standingAt(file.final, file.checked, asked);
    if (there.kind === 'others') return { kind: 'taken', found: `${file.final}: ${there.what}` };
    if (there.kind === 'same') {
      // Named by a run that was ended, or the same as the older: a staged one is a copy of it.
      if (file.staged !== file.final) await moves.remove(file.staged);
      continue;
    }
    await provesStaged({ ...file, ...asked });
    open.push(file);
  }
  const movieThere = await standingAt(final, checked, asked);
  if (movieThere.kind === 'others') return { kind: 'taken', found: movieThere.what };
  const old: string[] = [];
  for (const path of obsolete) if ((await standingAt(path, null, asked)).kind === 'older') old.push(path);
  const aside = `${staged}.older`;
  const isMoved =
    movieThere.kind === 'older' ||
    (movieThere.kind === 'same' && open.length + old.length > 0 && isOurs(checked.xxh128));
  if (isMoved) {
    await moves.rename(final, aside);
    await syncFolder(dirname(final));
  }
  for (const path of old) await moves.remove(path);
  for (const file of open) {
    const outcome = await moves.publish({ ...file, ...asked });
    if (outcome.kind === 'taken') return { kind: 'taken', found: `${file.final}: ${outcome.found}` };
  }
  const outcome = await moves.publish(movie);
  if (outcome.kind === 'taken' || !isMoved) return outcome;
  // What cannot be removed now is swept with other leftovers.
  await moves.remove(aside).catch(() => undefined);
  return { kind: 'replaced' };
}
