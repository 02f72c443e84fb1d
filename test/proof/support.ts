/** Fingerprints for tests: of real files, by the very taps that worker and checker use, and made up ones. */
import { FIRST_PIPE, runTool } from '../../process/run.ts';
import { FingerprintCollector } from '../../proof/collect.ts';
import { CELLS, type FrameFingerprints } from '../../proof/form.ts';
import type { Framing } from '../../proof/framing.ts';
import { pictureTap, rawPictures, type TappedPicture } from '../../proof/tap.ts';

/** The whole picture, nothing covered. */
export function wholeFraming(width: number, height: number): Framing {
  return { scaled: { width, height }, window: { left: 0, top: 0, width, height }, covered: [], inset: null };
}

/** `input`: input arguments of ffmpeg. */
export async function fingerprintsOf(
  input: readonly string[],
  picture: TappedPicture,
): Promise<FrameFingerprints> {
  const collector = new FingerprintCollector();
  const tap = pictureTap('shown', picture);
  const pads = tap.hasColour ? (['luma', 'colour'] as const) : (['luma'] as const);
  const run = await runTool(
    'ffmpeg',
    [
      '-hide_banner',
      '-loglevel',
      'error',
      '-nostdin',
      '-noauto_conversion_filters',
      ...input,
      '-filter_complex',
      ['[0:v]null[shown]', ...tap.chains].join(';'),
      ...pads.flatMap((pad, index) => [...rawPictures(pad), `pipe:${FIRST_PIPE + index}`]),
    ],
    { pipes: pads.map((pad) => (stream) => collector[pad].read(stream)) },
  );
  if (run.exitCode !== 0 || run.stderr !== '') throw new Error(run.stderr);
  return collector.fingerprints(picture.earlierField === null ? 1 : 2, tap.hasColour);
}

/** Frames of fingerprints in another order, some of them other pictures. Colour goes with its place. */
export function reordered(
  fingerprints: FrameFingerprints,
  frames: readonly (number | Uint16Array)[],
): FrameFingerprints {
  const luma = new Uint16Array(frames.length * CELLS);
  frames.forEach((frame, index) => {
    luma.set(
      typeof frame === 'number' ? fingerprints.luma.subarray(frame * CELLS, (frame + 1) * CELLS) : frame,
      index * CELLS,
    );
  });
  return { ...fingerprints, frames: frames.length, luma };
}
