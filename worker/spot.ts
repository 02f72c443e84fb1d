/**
 * Whether what the encoder took in was this clip: two of its frames, decoded once more by themselves, against the fingerprints.
 * Everything else compares deliverables with that fingerprints, and would find a good file of the wrong clip good.
 */
import { type Finding, finding } from '../findings/finding.ts';
import type { Job } from '../ledger/job.ts';
import { earlierField } from '../media/facts.ts';
import { type InputPlace, openInput } from '../media/input.ts';
import type { MediaTools } from '../process/locate.ts';
import { FIRST_PIPE, runTool } from '../process/run.ts';
import { FingerprintCollector } from '../proof/collect.ts';
import { CELLS, type FrameFingerprints } from '../proof/form.ts';
import type { SourceFingerprints } from '../proof/source-fingerprints.ts';
import { pictureTap, rawPictures } from '../proof/tap.ts';
import { subjectOf } from './claim.ts';

const STALL_MILLISECONDS = 120_000;
/** The same decoder gives the same values; a quarter of an 8-bit step (root mean square) is already another picture. */
const SAME = 64;
/** A seek may land beside the frame asked for, where a file's times and its edit list disagree. */
const BESIDE = 3;

/** The first frame, and one that depends on the content alone. */
export function spotsOf(contentDigest: string, frames: number): number[] {
  const drawn = Number(
    BigInt(`0x${/^[0-9a-f]{1,12}/.exec(contentDigest)?.[0] ?? '0'}`) % BigInt(Math.max(1, frames)),
  );
  return [...new Set([0, drawn])];
}

/** Root mean square difference of one frame of two fingerprints, first views. Pure. */
export function spotDifference(
  one: FrameFingerprints,
  frame: number,
  other: FrameFingerprints,
  at: number,
): number {
  let sum = 0;
  for (let cell = 0; cell < CELLS; cell += 1)
    sum +=
      ((one.luma[frame * one.views * CELLS + cell] as number) -
        (other.luma[at * other.views * CELLS + cell] as number)) **
      2;
  return Math.sqrt(sum / CELLS);
}

/** null: the decoder gave nothing there. Throws the signal's reason when stopped. */
async function decodeOne(
  job: Job,
  frame: number,
  tools: Pick<MediaTools, 'ffmpeg'>,
  signal: AbortSignal,
): Promise<FrameFingerprints | null> {
  const { clip, facts } = job;
  const place: InputPlace =
    clip.place.kind === 'movie' ? clip.place : { ...clip.place, first: clip.place.first + frame, count: 1 };
  // Half a frame early, so that no rounding passes the frame by.
  const { num, den } = facts.video.rate;
  const seek =
    clip.place.kind === 'movie' && frame > 0 ? ['-ss', (((frame - 0.5) * den) / num).toFixed(6)] : [];
  const input = await openInput(job.rollFolder, place, facts.video.rate);
  const collector = new FingerprintCollector();
  const tap = pictureTap('shown', {
    pixelFormat: facts.video.pixelFormat,
    size: facts.video,
    earlierField: earlierField(facts.video),
    framing: null,
  });
  const pads = tap.hasColour ? (['luma', 'colour'] as const) : (['luma'] as const);
  try {
    await runTool(
      tools.ffmpeg.path,
      [
        ...[
          '-hide_banner',
          '-nostdin',
          '-nostats',
          '-loglevel',
          'error',
          '-noauto_conversion_filters',
          ...seek,
          ...input.args,
        ],
        ...['-filter_complex', [`[0:${facts.video.streamIndex}]null[shown]`, ...tap.chains].join(';')],
        ...pads.flatMap((pad, index) => [
          '-frames:v',
          '1',
          ...rawPictures(pad),
          `pipe:${FIRST_PIPE + index}`,
        ]),
      ],
      {
        signal,
        stallMilliseconds: STALL_MILLISECONDS,
        pipes: pads.map((pad) => (stream) => collector[pad].read(stream)),
      },
    );
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
    spotsOf(job.clip.contentDigest, picture.frames).map(async (frame) => ({
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
        'the first frame does not decode by itself',
        'the first frame of the clip',
        subjectOf(job),
      );
    }
    const around =
      frame === 0
        ? [0]
        : Array.from({ length: 2 * BESIDE + 1 }, (_, index) => frame - BESIDE + index).filter(
            (at) => at >= 0 && at < picture.frames,
          );
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
