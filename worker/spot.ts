/**
 * Whether what the encoder took in was this clip: two of its frames, decoded once more, each alone, against the fingerprints.
 * Everything else compares deliverables with those fingerprints, and would find a good file of the wrong clip good.
 */
import { type Finding, finding } from '../findings/finding.ts';
import type { Job } from '../ledger/job.ts';
import { earlierField } from '../media/facts.ts';
import type { MediaTools } from '../process/locate.ts';
import { FIRST_PIPE, runTool } from '../process/run.ts';
import { FingerprintCollector } from '../proof/collect.ts';
import { CELLS, type FrameFingerprints } from '../proof/form.ts';
import type { SourceFingerprints } from '../proof/source-fingerprints.ts';
import { pictureTap, rawPictures } from '../proof/tap.ts';
import { subjectOf } from './claim.ts';
import { framesBeside, openAtFrame, spotFrames } from './spot-frames.ts';

const STALL_MILLISECONDS = 120_000;
/** The same decoder gives the same values; a quarter of an 8-bit step (root mean square) is already another picture. */
const SAME = 64;

/** Root mean square difference of one frame of two fingerprints, first views. Pure. */
export function spotDifference(
  one: FrameFingerprints,
  frame: number,
  other: FrameFingerprints,
  at: number,
): number {
  let sum = 0;
  for (let cell = 0; cell < CELLS; cell += 1) {
    const value = one.luma[frame * one.views * CELLS + cell] as number;
    const beside = other.luma[at * other.views * CELLS + cell] as number;
    sum += (value - beside) ** 2;
  }
  return Math.sqrt(sum / CELLS);
}

/** null: the decoder gave nothing there. Throws the signal's reason when stopped. */
async function decodeOne(
  job: Job,
  frame: number,
  tools: Pick<MediaTools, 'ffmpeg'>,
  signal: AbortSignal,
): Promise<FrameFingerprints | null> {
  const { facts } = job;
  const input = await openAtFrame(job, frame);
  const collector = new FingerprintCollector();
  const tap = pictureTap('shown', {
    pixelFormat: facts.video.pixelFormat,
    size: facts.video,
    earlierField: earlierField(facts.video),
    framing: null,
  });
  const pads = tap.hasColour ? (['luma', 'colour'] as const) : (['luma'] as const);
  try {
    const flags = [
      '-hide_banner',
      '-nostdin',
      '-nostats',
      '-loglevel',
      'error',
      '-noauto_conversion_filters',
    ];
    const graph = [`[0:${facts.video.streamIndex}]null[shown]`, ...tap.chains].join(';');
    const outputs = pads.flatMap((pad, index) => [
      ...['-frames:v', '1'],
      ...rawPictures(pad),
      `pipe:${FIRST_PIPE + index}`,
    ]);
    await runTool(tools.ffmpeg.path, [...flags, ...input.args, '-filter_complex', graph, ...outputs], {
      signal,
      stallMilliseconds: STALL_MILLISECONDS,
      pipes: pads.map((pad) => (stream) => collector[pad].read(stream)),
    });
    signal.throwIfAborted();
    const fingerprints = collector.fingerprints(earlierField(facts.video) === null ? 1 : 2, tap.hasColour);
    return fingerprints.frames === 0 ? null : fingerprints;
  } finally {
    await input.dispose();
  }
}

export async function spotFailure(
  job: Job,
  { picture }: SourceFingerprints,
  tools: Pick<MediaTools, 'ffmpeg'>,
  signal: AbortSignal,
): Promise<Finding | null> {
  const spots = await Promise.all(
    spotFrames(job.clip.contentDigest, picture.frames, 'proxy').map(async (frame) => ({
      frame,
      seen: await decodeOne(job, frame, tools, signal),
    })),
  );
  for (const { frame, seen } of spots) {
    if (seen === null) {
      // Not every file can be entered in its middle; its beginning can.
      if (frame > 0) continue;
      return finding(
        'decode-other-clip',
        'the first frame does not decode alone',
        'the first frame of the clip',
        subjectOf(job),
      );
    }
    const around = frame === 0 ? [0] : framesBeside(frame, picture.frames);
    const nearest = Math.min(...around.map((at) => spotDifference(seen, 0, picture, at)));
    if (nearest > SAME)
      return finding(
        'decode-other-clip',
        `frame ${frame} differs by ${(nearest / 256).toFixed(1)} steps of 8 bits from the one taken in`,
        'the same frame',
        subjectOf(job),
      );
  }
  return null;
}
