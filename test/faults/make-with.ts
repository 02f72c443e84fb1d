/** What the encode of a job leaves in its staging files, with a fault or without: made as the worker makes it, and neither checked nor published. */
import { mkdirSync } from 'node:fs';
import { join } from 'node:path';
import type { Job } from '../../ledger/job.ts';
import { moviesOf } from '../support/jobs.ts';
import { layout } from '../../ledger/layout.ts';
import { workContext } from '../support/work.ts';
import { make } from '../../worker/make.ts';
import type { Operation } from './operation.ts';
import { faultyFfmpeg } from './stand-in.ts';

export interface MadeWith {
  /** By profile. */
  readonly paths: Readonly<Record<string, string>>;
  readonly exitCode: number | null;
  readonly done: boolean;
  readonly stderr: string;
}

export async function makeWith(job: Job, operation: Operation, folder: string): Promise<MadeWith> {
  const deliveryFolder = join(folder, 'delivery');
  mkdirSync(folder, { recursive: true });
  const { tools, signal } = await workContext();
  const faulty = faultyFfmpeg(folder, operation);
  const outputs = moviesOf(job).map((deliverable) => {
    mkdirSync(layout.profileFolder(deliveryFolder, deliverable.profile.name), { recursive: true });
    return {
      deliverable,
      staged: layout.staging(deliveryFolder, deliverable.profile.name, 'test', deliverable.outcome.container),
    };
  });
  const { run } = await make({
    job,
    outputs,
    framePool: null,
    tools: { ...tools, ffmpeg: { ...tools.ffmpeg, path: faulty.path } },
    threads: 1,
    stallMilliseconds: 60_000,
    signal,
    onFrames: () => undefined,
  });
  return {
    paths: Object.fromEntries(outputs.map(({ deliverable, staged }) => [deliverable.profile.name, staged])),
    exitCode: run.exitCode,
    done: faulty.done()?.code === 0,
    stderr: run.stderr,
  };
}
