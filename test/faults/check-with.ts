/** What the check says of a job whose encoder has a fault: made and checked as the worker does both, and not published. */
import { mkdirSync } from 'node:fs';
import { join } from 'node:path';
import { checkDeliverable, type CheckReport } from '../../check/index.ts';
import { layout } from '../../ledger/layout.ts';
import { finishContentLight, type LightStated } from '../../worker/content-light.ts';
import type { Job } from '../../ledger/job.ts';
import { type MakeResult, make } from '../../worker/make.ts';
import { moviesOf } from '../support/jobs.ts';
import { workContext } from '../support/work.ts';
import type { Operation, Several } from './operation.ts';
import { faultyFfmpeg } from './stand-in.ts';

export interface CheckedWith {
  readonly made: MakeResult;
  /** By profile. */
  readonly checked: Readonly<Record<string, CheckReport>>;
  /** What each stream states of its light, by profile. */
  readonly light: Readonly<Record<string, LightStated>>;
}

/** Of a colour way the fingerprints of its pictures, in place of the decoded ones. */
function shownOf({ fingerprints, shown }: MakeResult, index: number): MakeResult['fingerprints'] {
  const picture = shown[index] ?? null;
  return fingerprints === null || picture === null ? fingerprints : { ...fingerprints, picture };
}

/** Throws when the fault could not be done. */
export async function checkWith(
  job: Job,
  operation: Operation | Several,
  folder: string,
): Promise<CheckedWith> {
  const deliveryFolder = join(folder, 'delivery');
  mkdirSync(folder, { recursive: true });
  const { tools, signal } = await workContext();
  const faulty = operation.do === 'none' ? null : faultyFfmpeg(folder, operation);
  const outputs = moviesOf(job).map((deliverable) => {
    mkdirSync(layout.profileFolder(deliveryFolder, deliverable.profile.name), { recursive: true });
    return {
      deliverable,
      staged: layout.staging(deliveryFolder, deliverable.profile.name, 'test', deliverable.outcome.container),
    };
  });
  const made = await make({
    job,
    outputs,
    framePool: null,
    tools: faulty === null ? tools : { ...tools, ffmpeg: { ...tools.ffmpeg, path: faulty.path } },
    threads: 1,
    stallMilliseconds: 60_000,
    signal,
    onFrames: () => undefined,
  });
  if (made.run.exitCode !== 0 || (faulty !== null && faulty.done()?.code !== 0))
    throw new Error(`${made.run.exitCode} ${made.run.stderr}`);
  const checked: Record<string, CheckReport> = {};
  const light: Record<string, LightStated> = {};
  for (const [index, { deliverable, staged }] of outputs.entries()) {
    const stated = await finishContentLight(job, { deliverable, staged }, made.light[index] ?? null);
    light[deliverable.profile.name] = stated;
    checked[deliverable.profile.name] = await checkDeliverable({
      path: staged,
      outcome: deliverable.outcome,
      checks: deliverable.profile.checks,
      sourceFacts: job.facts,
      sourceFingerprints: shownOf(made, index),
      encoded: made.bitstreams[index] ?? null,
      contentLight: stated.contentLight,
      sketch: made.sketches[index] ?? null,
      tools,
    });
  }
  return { made, checked, light };
}
