/** One job as the coordinator would plan it, for a movie on disk, and the context that a worker gives it. */
import { createHash } from 'node:crypto';
import { mkdirSync, statSync } from 'node:fs';
import { basename, dirname, join } from 'node:path';
import { type Job, workOf } from '../../ledger/job.ts';
import type { Timing } from '../../media/time/timing.ts';
import { toolchainOf } from '../../ledger/toolchain.ts';
import { loadProfiles } from '../../profiles/load.ts';
import { decideOutcome } from '../../profiles/outcome/any.ts';
import type { JobContext } from '../../worker/context.ts';
import { factsOf, mediaTools } from './make.ts';

export const smallProfiles = [
  'test/fixtures/profiles/small-vc3.yaml',
  'test/fixtures/profiles/small-h264.yaml',
] as const;

export async function jobFor(
  source: string,
  delivery: string,
  wanted: readonly string[] = smallProfiles,
  { run = 'run-1', timing }: { readonly run?: string; readonly timing?: Timing } = {},
): Promise<Job> {
  const measured = await factsOf(source);
  const facts = timing === undefined ? measured : { ...measured, timing };
  const { profiles } = await loadProfiles({ wanted });
  const name = basename(source).replace(/\.[^.]*$/, '');
  const clip = {
    id: name,
    name,
    place: { kind: 'movie' as const, file: basename(source) },
    bytes: statSync(source).size,
    contentDigest: createHash('sha256').update(name).digest('hex'),
  };
  // As the coordinator leaves it before it queues a job.
  mkdirSync(join(delivery, 'day-01', 'A001'), { recursive: true });
  return {
    version: 0,
    night: 'night',
    run,
    day: 'day-01',
    roll: 'A001',
    rollFolder: dirname(source),
    deliveryFolder: join(delivery, 'day-01', 'A001'),
    clip,
    facts,
    span: { start: 0, count: facts.video.frames },
    deliverables: profiles.map(({ profile, hash }) => {
      const decided = decideOutcome({ day: 'day-01', roll: 'A001', clip, facts, profile });
      if (decided.outcome === null) throw new Error(JSON.stringify(decided.findings));
      return workOf(profile, hash, decided.outcome);
    }),
    toolchain: toolchainOf(await mediaTools()).digest,
  };
}

/** `ffmpeg`: a stand-in for the real one, which it calls itself: it is not asked for its version, so that no program starts for that. */
export async function workContext(
  options: {
    ffmpeg?: string;
    lastAttempt?: boolean;
    stallMilliseconds?: number;
    fence?: () => Promise<void>;
    /** Of a farm: the id of this machine. */
    machine?: string;
  } = {},
): Promise<JobContext> {
  const real = await mediaTools();
  return {
    tools:
      options.ffmpeg === undefined ? real : { ...real, ffmpeg: { ...real.ffmpeg, path: options.ffmpeg } },
    toolchain: toolchainOf(real),
    threads: 1,
    stallMilliseconds: options.stallMilliseconds ?? 60_000,
    signal: new AbortController().signal,
    attempt: 1,
    machine: options.machine ?? null,
    lastAttempt: options.lastAttempt ?? true,
    onProgress: () => undefined,
    fence: options.fence ?? (async () => undefined),
  };
}
