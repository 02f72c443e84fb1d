/**
 * The pictures that an encoder was fed with, before anything compressed them: at the points of every frame, and in a few frames at many pixels, held
 * against the source through its transform in double precision. What the encoder made of them is held against their fingerprints (check/index.ts).
 */
import { type FindingSubject, blocks } from '../../findings/finding.ts';
import type { FindingCode } from '../../findings/registry.ts';
import type { CheckResult } from '../../ledger/report.ts';
import { type Point, POINTS, pointsOf, type PixelSamples } from '../../proof/pixel-samples.ts';
import { type CheckVerdict, faultsToFindings } from '../check.ts';
import type { WhileMadeReport } from '../while-made.ts';
import { worstOf } from './compare.ts';
import type { ToSceneLinear } from './scene-linear.ts';
import { inWords } from './tolerance.ts';

/** Pixel by pixel: of `rdd36` Y', Cb, Cr of 10 bits, of `shown` R', G', B' of 14. */
export interface EncoderInputCodes {
  readonly format: 'rdd36' | 'shown';
  /** By frame, at its points. */
  readonly points: Uint16Array;
  /** Of the frames that have spots. */
  readonly spots: readonly {
    readonly frame: number;
    readonly pixels: readonly Point[];
    readonly codes: Uint16Array;
  }[];
}

/** Faults reported one by one; the rest is counted. */
const MAX_LISTED = 8;
const CHANNELS = { rdd36: ["Y'", 'Cb', 'Cr'], shown: ["R'", "G'", "B'"] } as const;
/** Of pictures that are shown these are of the way to the encoder's input, not of it. */
const CHECKS = {
  rdd36: ['encoder-input', 'encoder-input-spot-check'],
  shown: ['development', 'development-spot-check'],
} as const;
const TOOL = 'own comparison';

interface Off {
  readonly frame: number;
  readonly pixels: readonly Point[];
  readonly codes: ArrayLike<number>;
  readonly sceneLinear: (pixel: number) => readonly [number, number, number];
}

function compared(
  code: FindingCode,
  what: string,
  format: EncoderInputCodes['format'],
  all: readonly Off[],
): CheckVerdict {
  let most = 0;
  const faults: { code: FindingCode; found: string; expected: string }[] = [];
  for (const { frame, pixels, codes, sceneLinear } of all) {
    const { worst, at, channel, expected: wanted } = worstOf({ format }, codes, sceneLinear, pixels.length);
    most = Math.max(most, worst);
    if (worst <= 1) continue;
    const { x, y } = pixels[at] as Point;
    faults.push({
      code,
      found: `frame ${frame}: ${CHANNELS[format][channel]} ${codes[3 * at + channel]} at ${x}, ${y}`,
      expected: `${wanted.toFixed(3)}`,
    });
  }
  const reported =
    faults.length > MAX_LISTED
      ? [
          ...faults.slice(0, MAX_LISTED),
          {
            code,
            found: `${faults.length - MAX_LISTED} more frames differ, ${faults.length} in all`,
            expected: 'none',
          },
        ]
      : faults;
  return {
    measured: `${what}, at worst ${most.toFixed(2)} of what is allowed`,
    expected: inWords({ format }),
    faults: reported,
  };
}

/** Results of the checks `encoder-input` and `encoder-input-spot-check`, or `development` and `development-spot-check`. */
export function checkEncoderInput(
  encoderInput: EncoderInputCodes,
  { frames, width, height, values, spots }: PixelSamples,
  sceneLinear: ToSceneLinear,
  subject: FindingSubject,
): WhileMadeReport {
  const everywhere = Array.from({ length: frames }, (_, frame): Off => {
    const base = 3 * POINTS * frame;
    const value = (pixel: number, channel: number): number => values[base + 3 * pixel + channel] as number;
    return {
      frame,
      pixels: pointsOf(frame, width, height),
      codes: encoderInput.points.subarray(base, base + 3 * POINTS),
      sceneLinear: (pixel) => sceneLinear(value(pixel, 0), value(pixel, 1), value(pixel, 2)),
    };
  });
  const found = spots.flatMap((spot): Off[] => {
    const own = encoderInput.spots.find(({ frame }) => frame === spot.frame);
    if (own === undefined) return [];
    const places = new Map(own.pixels.map(({ x, y }, index) => [y * width + x, index]));
    const codes = spot.pixels.flatMap(({ x, y }) => {
      const place = places.get(y * width + x);
      // A pixel that nobody kept is as far off as can be.
      return [0, 1, 2].map((channel) =>
        place === undefined ? Number.NaN : (own.codes[3 * place + channel] as number),
      );
    });
    return [
      {
        frame: spot.frame,
        pixels: spot.pixels,
        codes,
        sceneLinear: (pixel) => [
          spot.sceneLinear[3 * pixel] as number,
          spot.sceneLinear[3 * pixel + 1] as number,
          spot.sceneLinear[3 * pixel + 2] as number,
        ],
      },
    ];
  });
  const { format } = encoderInput;
  const verdicts: [string, CheckVerdict][] = [
    [
      CHECKS[format][0],
      compared(
        'master-pixels-differ',
        `${POINTS} pixels of each of ${frames} frames as the encoder was fed with them`,
        format,
        everywhere,
      ),
    ],
    [CHECKS[format][1], spotsVerdict(format, spots.length, found)],
  ];
  const findings = verdicts.flatMap(([, verdict]) => faultsToFindings(verdict, subject));
  const results = verdicts.map(
    ([check, verdict]): CheckResult => ({
      check,
      status: verdict.faults.length === 0 ? 'passed' : 'failed',
      measured: verdict.measured,
      expected: verdict.expected,
      tool: TOOL,
    }),
  );
  return {
    results,
    findings,
    passed: results.every(({ status }) => status === 'passed') && !findings.some(blocks),
  };
}

function spotsVerdict(
  format: EncoderInputCodes['format'],
  wanted: number,
  found: readonly Off[],
): CheckVerdict {
  const pixels = found.reduce((sum, spot) => sum + spot.pixels.length, 0);
  const verdict = compared(
    'master-spot-check-differs',
    `${pixels} pixels of frames ${found.map(({ frame }) => frame).join(', ')} as the encoder was fed with them`,
    format,
    found,
  );
  const expected = `the source decoded again: ${verdict.expected}`;
  if (wanted > 0 && found.length === wanted) return { ...verdict, expected };
  return {
    ...verdict,
    expected,
    faults: [
      ...verdict.faults,
      {
        code: 'master-spot-check-differs',
        found: `${found.length} frames to compare`,
        expected: `${Math.max(1, wanted)} frames`,
      },
    ],
  };
}
