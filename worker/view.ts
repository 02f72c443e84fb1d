/**
 * Pictures of the frame that is being made, for whoever watches the run: one each time it is asked for (layout.viewAsked), small and in
 * display colours, as the clip's stills are. It is decoded alone, from the source, beside the encoder; nobody proves it, and no job
 * waits for it or fails by it. While nobody asks, nothing is made.
 */
import { readFile, rename, rm, writeFile } from 'node:fs/promises';
import { takeAfterFolder } from '../files/belonging.ts';
import { fsPath } from '../files/names.ts';
import type { Job } from '../ledger/job.ts';
import { layout } from '../ledger/layout.ts';
import { newToken } from '../ledger/owner.ts';
import { decideFrames } from '../profiles/stills/decide.ts';
import { stillTexts } from '../profiles/stills/texts.ts';
import type { JobContext } from './context.ts';
import { stillMaker } from './stills/make.ts';
import { pngOf } from './stills/png.ts';
import { makeFolder } from './target.ts';

const LOOK_MILLISECONDS = 3_000;
const PICTURE = { width: 640, bits: 8 } as const;
const LONGEST_ASKED = 200;

export interface FrameView {
  /** What the job is done with: it tells how far it is. */
  readonly context: JobContext;
  /** Nothing is made from here on, and no picture of it is left. */
  end(): Promise<void>;
}

export function viewFrames(job: Job, context: JobContext, lookMilliseconds = LOOK_MILLISECONDS): FrameView {
  // Of what a cut uses no stills are made either: their makers open whole clips.
  if (job.clip.stretch !== undefined) return { context, end: () => Promise.resolve() };
  const ended = new AbortController();
  const own: JobContext = { ...context, signal: AbortSignal.any([context.signal, ended.signal]) };
  const file = layout.view(job.deliveryFolder, job.clip.id);
  // Of a segment, frames are counted from its first one.
  const { start } = job.span;
  const last = job.facts.video.frames - 1;
  let frame: number | null = null;
  let answered: string | null = null;
  let isThere = false;
  let looking: Promise<void> | null = null;

  const remove = async (): Promise<void> => {
    isThere = false;
    await rm(fsPath(file), { force: true });
  };
  const look = async (): Promise<void> => {
    if (frame === null) return isThere ? await remove() : undefined;
    const asked = await readFile(fsPath(layout.viewAsked(job.deliveryFolder)), 'utf8').catch(() => null);
    if (asked === null || asked === '' || asked.length > LONGEST_ASKED || asked === answered) return;
    answered = asked;
    const png = await pictureOf(job, Math.min(start + frame, last), own);
    // It may have gone on to something else meanwhile.
    if (png === null || frame === null || own.signal.aborted) return;
    // It is there, since something asked in it; whether it is a link is looked at here.
    await makeFolder(job.deliveryFolder, layout.viewFolder(job.deliveryFolder));
    const staged = layout.stagedView(job.deliveryFolder, newToken());
    try {
      await writeFile(fsPath(staged), png, { flag: 'wx' });
      await takeAfterFolder(staged);
      await rename(fsPath(staged), fsPath(file));
      isThere = true;
    } finally {
      await rm(fsPath(staged), { force: true });
    }
  };
  const timer = setInterval(() => {
    looking ??= look()
      // Nobody's work: the page has the newest still instead.
      .catch(() => undefined)
      .finally(() => {
        looking = null;
      });
  }, lookMilliseconds);
  timer.unref();
  return {
    context: {
      ...context,
      onProgress: (progress) => {
        frame = progress.phase === 'make' ? progress.frames : null;
        context.onProgress(progress);
      },
    },
    end: async () => {
      clearInterval(timer);
      ended.abort();
      await looking;
      if (isThere) await remove().catch(() => undefined);
    },
  };
}

/** null: the clip has no such picture. Throws what a still's maker throws. */
async function pictureOf(job: Job, frame: number, context: JobContext): Promise<Buffer | null> {
  const { stills: outcome } = decideFrames({ ...job, asked: PICTURE, frames: [frame] });
  const [still] = outcome?.stills ?? [];
  if (outcome === null || still === undefined) return null;
  const maker = await stillMaker(job, outcome, context);
  try {
    const picture = await maker.make(0);
    if ('why' in picture) return null;
    return await pngOf({ ...outcome, ...picture, texts: stillTexts(job, outcome, still) });
  } finally {
    await maker.close();
  }
}
