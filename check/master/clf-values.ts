/** Files of the Common LUT Format held against the values that they must give, at many places. */
import { clfSteps } from '../../media/colour/clf.ts';
import { evaluate } from '../../media/colour/evaluate.ts';
import type { ToSceneLinear } from './scene-linear.ts';

export type Probe = readonly [number, number, number];

export interface AmfFault {
  readonly code: 'amf-differs' | 'amf-transform-differs';
  readonly found: string;
  readonly expected: string;
}

/** How far the file's values may lie from those of the transform, in parts of the largest channel, and beside that in the dark (docs/amf.md). */
export const CLF_TOLERANCE = { relative: 2e-4, absolute: 1e-6 } as const;

/** Code values at which both are asked: greys, primaries, and points that fill the cube evenly. Raw stays below what is full in no channel. */
export function clfProbes(kind: 'coded' | 'raw'): readonly Probe[] {
  const [from, to] = kind === 'raw' ? [0, 0.5] : [-0.05, 1.1];
  const at = (part: number): number => from + (to - from) * part;
  const greys = Array.from({ length: 65 }, (_, index): [number, number, number] => {
    const value = at(index / 64);
    return [value, value, value];
  });
  // Additive recurrence with the root of x^4 = x + 1: three coordinates that stay apart from each other.
  const root = 1.2207440846057596;
  const spread = Array.from({ length: 600 }, (_, index): [number, number, number] => {
    const part = (power: number): number => at(((index + 1) / root ** power + 0.5) % 1);
    return [part(1), part(2), part(3)];
  });
  return [...greys, [at(1), from, from], [from, at(1), from], [from, from, at(1)], ...spread];
}

export interface TransformRequest {
  readonly name: string;
  readonly probes: readonly Probe[];
  /** What the transform must give. */
  readonly wanted: ToSceneLinear;
}

/** Holds the values of a file against those that its transform must give. */
export function judgeTransform(
  bytes: Buffer,
  { name, probes, wanted: given }: TransformRequest,
): { worst: number; faults: AmfFault[] } {
  let steps: ReturnType<typeof clfSteps>;
  try {
    steps = clfSteps(bytes);
  } catch (error) {
    return {
      worst: Number.POSITIVE_INFINITY,
      faults: [
        {
          code: 'amf-transform-differs',
          found: `${name}: ${(error as Error).message}`,
          expected: 'a file of the Common LUT Format',
        },
      ],
    };
  }
  let worst = 0;
  let fault: AmfFault | null = null;
  for (const [r, g, b] of probes) {
    const found = evaluate({ steps }, r, g, b);
    const wanted = given(r, g, b);
    const size = Math.max(...wanted.map(Math.abs));
    const allowed = CLF_TOLERANCE.relative * size + CLF_TOLERANCE.absolute;
    for (const channel of [0, 1, 2] as const) {
      const off = Math.abs(found[channel] - wanted[channel]) / allowed;
      if (off <= worst) continue;
      worst = off;
      // What is no number compares with nothing.
      if (off > 1)
        fault = {
          code: 'amf-transform-differs',
          found: `${name}: ${found.join(' ')} at ${[r, g, b].join(' ')}`,
          expected: wanted.join(' '),
        };
    }
    if (found.some(Number.isNaN))
      return {
        worst: Number.POSITIVE_INFINITY,
        faults: [
          {
            code: 'amf-transform-differs',
            found: `${name}: no number at ${[r, g, b].join(' ')}`,
            expected: wanted.join(' '),
          },
        ],
      };
  }
  return { worst, faults: fault === null ? [] : [fault] };
}
