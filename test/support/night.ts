/** A small shoot day and nights over it, through the command line, slow enough to be disturbed in the middle. */
import { createHash } from 'node:crypto';
import { readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join, sep } from 'node:path';
import type { NightResult } from '../../coordinator/night/request.ts';
import { CLAIMS_FOLDER } from '../../ledger/claims.ts';
import { type RunningCli, startCli } from './cli.ts';
import { eventually } from './processes.ts';

export interface HeldFfmpeg {
  /** The words of the command line of a night that uses it. */
  readonly words: readonly string[];
  /** Lets every encode go on, those that wait and those to come. */
  letGo(): void;
}

/**
 * ffmpeg that waits before it encodes until it is let go, and is the same program in all it says of itself. `but`: clips
 * whose name holds this text are encoded without waiting. The test decides when, so that nothing depends on how fast the machine is.
 */
export function heldFfmpeg(folder: string, but?: string): HeldFfmpeg {
  const path = join(folder, 'held-ffmpeg');
  const open = join(folder, 'let-go');
  const passes = but === undefined ? '' : `*${but}*) ;; `;
  // The checks read what was made: they never wait.
  const reads =
    'last=; for one in "$@"; do case "$last $one" in "-i file:"*.rushlight-part-*) exec ffmpeg "$@" ;; esac; last=$one; done';
  const encodes = '*.rushlight-part-*-progress*|*-progress*.rushlight-part-*';
  writeFileSync(
    path,
    `#!/bin/sh\n${reads}\ncase "$*" in ${passes}${encodes}) while [ ! -e '${open}' ]; do sleep 0.1; done ;; esac\nexec ffmpeg "$@"\n`,
    { mode: 0o755 },
  );
  // Where some are made while others wait, those that wait must not have every place: the order of rolls is nobody's promise.
  const slots = but === undefined ? '1' : '4';
  return { words: ['--ffmpeg', path, '--slots', slots], letGo: () => writeFileSync(open, '') };
}

/** Ids of processes whose command line holds the text (proc(5): cmdline, arguments ended by NUL). */
export function processesWith(text: string): number[] {
  return readdirSync('/proc')
    .filter((name) => /^\d+$/.test(name) && Number(name) !== process.pid)
    .filter((name) => {
      try {
        return readFileSync(`/proc/${name}/cmdline`, 'utf8').includes(text);
      } catch {
        // Ended between the two looks.
        return false;
      }
    })
    .map(Number);
}

export interface NightFoldersForTest {
  readonly day: string;
  readonly copy: string;
  readonly delivery: string;
  readonly work: string;
}

export interface RunRequest {
  readonly day: string;
  readonly delivery: string;
  readonly work: string;
  /** `smallProfile` unless others are named. */
  readonly profiles?: readonly string[];
}

/** The size of the source, in VC-3: made in no time. */
export const smallProfile = 'test/fixtures/profiles/small-vc3.yaml';

/** The words of the command line that starts a run; without stills, which tests of their own make. */
export function runWords(
  { day, delivery, work, profiles = [smallProfile] }: RunRequest,
  ...more: readonly string[]
): string[] {
  return [
    ...['run', day, '--deliver', delivery, '--work', work],
    ...(more.includes('--stills') ? [] : ['--stills', '0']),
    ...profiles.flatMap((profile) => ['--profile', profile]),
    ...more,
  ];
}

/** The words of a night with a second copy, one job at a time, that answers in JSON. */
export function nightCommand(folders: NightFoldersForTest, ...more: readonly string[]): string[] {
  return runWords(folders, '--copy', folders.copy, '--slots', '1', '--json', ...more);
}

export function startNight(folders: NightFoldersForTest, ...more: string[]): RunningCli {
  return startCli(nightCommand(folders, ...more));
}

export function resultOf(stdout: string): NightResult {
  return JSON.parse(stdout) as NightResult;
}

/** On a machine that others keep busy a run takes its time to get to its first encode. */
export const ENCODING_MILLISECONDS = 90_000;

/** For a test of two runs: a held encoder waits for ever, so that what hangs is still found. */
export const RUNS_MILLISECONDS = 3 * ENCODING_MILLISECONDS;

/** Waits until an encoder writes into the delivery. */
export async function encoding(folders: NightFoldersForTest): Promise<number[]> {
  return await eventually(
    () => {
      const found = processesWith(join(folders.delivery, ''));
      const encoders = found.filter((pid) => {
        try {
          return readFileSync(`/proc/${pid}/cmdline`, 'utf8').includes('.rushlight-part-');
        } catch {
          return false;
        }
      });
      return encoders.length > 0 && encoders;
      // Looking through all processes costs time that the run needs.
    },
    ENCODING_MILLISECONDS,
    100,
  );
}

export function workerPid(folders: NightFoldersForTest): number {
  const lines = readFileSync(join(folders.work, 'logs', 'local-1.log'), 'utf8')
    .trim()
    .split('\n');
  const ready = lines
    .map((line) => JSON.parse(line) as { msg: string; pid?: number })
    .filter((line) => line.msg === 'ready');
  return ready.at(-1)?.pid as number;
}

/** Name and digest of every deliverable; reports, fingerprints, sketches and verdicts left out. */
export function essence(delivery: string): Record<string, string> {
  const found: Record<string, string> = {};
  for (const entry of readdirSync(delivery, { recursive: true, withFileTypes: true })) {
    if (!entry.isFile() || /\.(?:json|fingerprints|sketch)$/.test(entry.name)) continue;
    const path = join(entry.parentPath, entry.name);
    // Numbers of who publishes, on a farm: no deliverables.
    if (path.startsWith(join(delivery, CLAIMS_FOLDER, sep))) continue;
    // Written from the records (test/handover).
    if (path.includes(`${sep}handover${sep}`) || entry.name === 'show.html') continue;
    found[path.slice(delivery.length + 1)] = createHash('sha256').update(readFileSync(path)).digest('hex');
  }
  return found;
}
