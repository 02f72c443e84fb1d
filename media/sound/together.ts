/** How a recording runs against a clip, from a few parts in which both were heard: where it begins, and how much faster or slower its clock is. Pure. */
import { offsetIn } from './offset.ts';

/** A short part of the clip's own sound, and what the recording has around the same time. Both at `sampleRate`. */
export interface HeardPart {
  /** Sample of the clip, from its first frame, at which `heard` begins. */
  readonly clipSample: number;
  readonly heard: Float32Array;
  /** Sample of the recording at which `recorded` begins. */
  readonly recordingSample: number;
  readonly recorded: Float32Array;
}

export interface RunTogether {
  /** Samples from the first frame of the clip to the first one of the recording; negative: it began before. */
  readonly startSamples: number;
  /** By how many millionths the recording has more samples to the clip's second than it should. */
  readonly driftMillionths: number;
  /** In which both were surely heard, all of them alike; never one alone. */
  readonly parts: number;
}

/** Where one part was surely heard: by it alone, the recording would begin there. */
export interface HeardThere {
  /** Of the clip. */
  readonly clipSample: number;
  readonly startSamples: number;
}

export type Together =
  | { readonly kind: 'found'; readonly found: RunTogether }
  /** They do not lie on one line, which a clock would draw. */
  | { readonly kind: 'apart'; readonly heard: readonly HeardThere[] }
  /** In one part or in none: nothing stands against an accident. */
  | { readonly kind: 'unsure'; readonly heard: readonly HeardThere[] };

/**
 * Standard deviations. Noise of its own has a peak of 4 to 5 in 200 000 places, a clip's microphone in a room beside as much noise as sound 50, and beside another
 * clock of 0.1 % 30 (drawn bursts and echoes; test/media/sound-offset.test.ts).
 * Bursts of noise that are not the same came to 9: bursts fit bursts. So a part counts from 15 on. One alone is never enough, however sure it is: what is played twice, or heard over a loudspeaker, is surely heard at the wrong place.
 */
const SURE = 15;
/** A bell that rings on fits its own sound many times over: what is nearly as sure elsewhere is no place. Bells of 65 to 131 Hz come to 1.0 to 1.6 times and lie up to 30 samples off, strikes in a room with loud walls to 2 and more (one of 110 Hz to 5, and lies right). */
const TIMES_ELSEWHERE = 1.7;
const LEAST_PARTS = 2;
/** Clocks part by some millionths, files of a wrong rate by 1000; what asks for more is two accidents. */
const MOST_DRIFT = 0.003;
/** Parts that are farther from the line through all: one of the two heard something else there. */
const MOST_BESIDE_SECONDS = 0.002;
/** From here on parts are drawn out to the other clock and looked for once more. */
const DRIFT_WORTH = 20e-6;

interface Point {
  readonly clip: number;
  readonly recording: number;
  readonly certainty: number;
}

/** Least squares: recording = start + slope × clip. */
function lineThrough(points: readonly Point[]): { readonly start: number; readonly slope: number } {
  const mean = (of: (point: Point) => number): number =>
    points.reduce((sum, point) => sum + of(point), 0) / points.length;
  const [clip, recording] = [mean((point) => point.clip), mean((point) => point.recording)];
  const squares = points.reduce((sum, point) => sum + (point.clip - clip) ** 2, 0);
  const slope =
    squares === 0
      ? 1
      : points.reduce((sum, point) => sum + (point.clip - clip) * (point.recording - recording), 0) / squares;
  return { start: recording - slope * clip, slope };
}

/** `count` samples of the clip's clock as the other clock counts them. Between samples straight: for a shift of parts of a sample. */
function drawnOut(samples: Float32Array, ratio: number): Float32Array {
  const out = new Float32Array(Math.floor((samples.length - 1) * ratio) + 1);
  for (let at = 0; at < out.length; at += 1) {
    const from = at / ratio;
    const left = Math.floor(from);
    const [a, b] = [samples[left] as number, samples[Math.min(left + 1, samples.length - 1)] as number];
    out[at] = a + (b - a) * (from - left);
  }
  return out;
}

function pointsIn(parts: readonly HeardPart[], sampleRate: number, ratio: number): Point[] {
  return parts.flatMap(({ clipSample, heard, recordingSample, recorded }) => {
    const found = offsetIn(ratio === 1 ? heard : drawnOut(heard, ratio), recorded, sampleRate);
    return found === null || found.certainty < Math.max(SURE, TIMES_ELSEWHERE * found.elsewhere)
      ? []
      : [
          {
            clip: clipSample,
            recording: recordingSample + found.at,
            certainty: found.certainty,
          },
        ];
  });
}

/** How the recording runs against the clip, by all parts in which both were surely heard. */
export function runTogether(parts: readonly HeardPart[], sampleRate: number): Together {
  let points = pointsIn(parts, sampleRate, 1);
  const heard = points.map(
    ({ clip, recording }): HeardThere => ({ clipSample: clip, startSamples: clip - recording || 0 }),
  );
  if (points.length < LEAST_PARTS) return { kind: 'unsure', heard };
  let line = lineThrough(points);
  if (Math.abs(line.slope - 1) > DRIFT_WORTH && Math.abs(line.slope - 1) <= MOST_DRIFT) {
    const again = pointsIn(parts, sampleRate, line.slope);
    if (again.length >= LEAST_PARTS) {
      points = again;
      line = lineThrough(points);
    }
  }
  const { start, slope } = line;
  const fits = points.every(
    ({ clip, recording }) => Math.abs(recording - start - slope * clip) <= MOST_BESIDE_SECONDS * sampleRate,
  );
  if (!fits || Math.abs(slope - 1) > MOST_DRIFT) return { kind: 'apart', heard };
  return {
    kind: 'found',
    found: {
      startSamples: -Math.round(start) || 0,
      driftMillionths: Math.round((slope - 1) * 1e7) / 10 || 0,
      parts: points.length,
    },
  };
}
