/** Surveys a movie, decides its outcome, runs the recipe's command and checks the file: the way of one clip without queue or night. */
import { createHash } from 'node:crypto';
import { existsSync, mkdirSync, readFileSync, renameSync, writeFileSync } from 'node:fs';
import { basename, dirname, extname, join } from 'node:path';
import { checkDeliverable, type CheckReport } from '../../check/index.ts';
import type { Job } from '../../ledger/job.ts';
import type { ClipFacts } from '../../media/facts.ts';
import { openInput } from '../../media/input.ts';
import { probeMovie } from '../../media/probe/index.ts';
import { locateTools, type MediaTools } from '../../process/locate.ts';
import { outcomeOf } from '../../profiles/outcome/decide.ts';
import type { Outcome } from '../../profiles/outcome.ts';
import type { Profile } from '../../profiles/schema.ts';
import { make } from '../../worker/make.ts';
import { sharedFolder } from './folder.ts';

let located: Promise<MediaTools> | undefined;
export function mediaTools(): Promise<MediaTools> {
  located ??= locateTools();
  return located;
}

/**
 * Facts follow from the clip's bytes and the tools alone, so equal clips are measured once for all tests: measuring starts two
 * programs. A clip of other bytes is measured.
 */
export async function factsOf(path: string): Promise<ClipFacts> {
  const digest = createHash('sha256').update(readFileSync(path)).digest('hex');
  const kept = join(sharedFolder, 'facts', `${digest}${extname(path)}.json`);
  if (existsSync(kept)) return JSON.parse(readFileSync(kept, 'utf8')) as ClipFacts;
  const facts = await measuredFacts(path);
  mkdirSync(dirname(kept), { recursive: true });
  const part = `${kept}.${process.pid}`;
  writeFileSync(part, JSON.stringify(facts));
  renameSync(part, kept);
  return facts;
}

async function measuredFacts(path: string): Promise<ClipFacts> {
  const input = await openInput(dirname(path), { kind: 'movie', file: basename(path) });
  try {
    const probed = await probeMovie(input, await mediaTools());
    if (probed.state !== 'measured') throw new Error(`${path}: ${JSON.stringify(probed)}`);
    return probed.facts;
  } finally {
    await input.dispose();
  }
}

export interface Made {
  readonly path: string;
  readonly outcome: Outcome;
  readonly checked: CheckReport;
  /** The check of another file in the place of the one that was made. */
  readonly check: (path: string) => Promise<CheckReport>;
}

/** Makes every profile from one decode, as a worker does; throws when a profile refuses the clip or the command fails. */
export async function makeAll(
  source: string,
  profiles: readonly Profile[],
  folder: string,
  threads = 2,
): Promise<Made[]> {
  const tools = await mediaTools();
  const facts = await factsOf(source);
  mkdirSync(folder, { recursive: true });
  const name = basename(source).replace(/\.[^.]*$/, '');
  const clip = {
    id: name,
    name,
    place: { kind: 'movie' as const, file: basename(source) },
    bytes: 1,
    contentDigest: '00',
  };
  const outputs = profiles.map((profile) => {
    const decided = outcomeOf({ day: 'day-01', roll: 'A001', clip, facts, profile });
    if (decided.outcome === null) throw new Error(JSON.stringify(decided.findings));
    return {
      deliverable: { kind: 'movie' as const, profile, profileHash: profile.name, outcome: decided.outcome },
      staged: join(folder, `${profile.name}-${decided.outcome.fileName}`),
    };
  });
  const job: Job = {
    version: 0,
    night: 'night',
    run: 'run',
    day: 'day-01',
    roll: 'A001',
    rollFolder: dirname(source),
    deliveryFolder: folder,
    clip,
    facts,
    span: { start: 0, count: facts.video.frames },
    deliverables: outputs.map(({ deliverable }) => deliverable),
    toolchain: 'this',
  };
  const made = await make({
    job,
    outputs,
    framePool: null,
    tools,
    threads,
    stallMilliseconds: 60_000,
    signal: new AbortController().signal,
    onFrames: () => undefined,
  });
  if (made.run.exitCode !== 0 || made.watched.errorCount > 0)
    throw new Error(
      `${made.run.exitCode} ${made.watched.errors.join('\n')} ${made.run.stderr}\n${made.run.args.join(' ')}`,
    );
  return await Promise.all(
    outputs.map(async ({ deliverable: { profile, outcome }, staged }, index) => {
      const check = (path: string): Promise<CheckReport> =>
        checkDeliverable({
          path,
          outcome,
          checks: profile.checks,
          sourceFacts: facts,
          sourceFingerprints: made.fingerprints,
          encoded: made.bitstreams[index] ?? null,
          sketch: made.sketches[index] ?? null,
          tools,
        });
      return { path: staged, outcome, checked: await check(staged), check };
    }),
  );
}
