/** The checks of a master: pure comparisons of what was measured with the outcome and with the pixel samples of the source. */
import type { FindingCode } from '../../findings/registry.ts';
import type { ClipFacts } from '../../media/facts.ts';
import { sha256OfText } from '../../files/checksum-list.ts';
import { POINTS, pointsOf, type PixelSamples } from '../../proof/pixel-samples.ts';
import type { ValuesSeen } from '../../proof/value-range.ts';
import { frameFileName } from '../../profiles/master/frame-name.ts';
import { isLossy } from '../../profiles/master/form.ts';
import type { MasterOutcome } from '../../profiles/master/outcome.ts';
import type { MasterCheck } from '../../profiles/check-names.ts';
import type { CheckVerdict } from '../check.ts';
import { judgeCompanions } from './amf.ts';
import { labelLater, rateByClip, startByClip } from '../cadence.ts';
import { saidOf } from './expected.ts';
import { readingVerdict } from './reading.ts';
import type { ToSceneLinear } from './scene-linear.ts';
import type { FrameMeasured, FrameSaid, MasterMeasured } from './measured.ts';
import { PointsLoss } from './loss.ts';
import { allowance, budgetOf, inWords, scaleOf, wantedOf, type ComparedForm } from './tolerance.ts';
import { wholeFrames } from './whole-frames.ts';

export interface Written {
  /** Of all frames in order (writtenDigest). */
  readonly digest: string;
  /** XXH128 of each; null: only the digest is known. */
  readonly frames: readonly string[] | null;
}

/** SHA-256 over the XXH128 of every frame, a line each. */
export function writtenDigest(frames: readonly string[]): string {
  return sha256OfText(Buffer.from(frames.map((xxh128) => `${xxh128}\n`).join('')));
}

export interface MasterCheckInput {
  readonly measured: MasterMeasured;
  readonly outcome: MasterOutcome;
  /** Of the clip; null: they are not at hand. */
  readonly source: ClipFacts | null;
  /** null: missing; what rests on it cannot run. */
  readonly points: PixelSamples | null;
  /** The way from code values to light, in double precision; null: its transform is missing. */
  readonly sceneLinear: ToSceneLinear | null;
  /** The frames as they left the encoder; null: nobody says. */
  readonly written: Written | null;
  /** What its maker counted of the values; null: nobody says. */
  readonly seen: ValuesSeen | null;
}

/** Faults reported one by one; the rest is counted. */
const MAX_LISTED = 8;

function verdict(
  code: FindingCode,
  measured: string,
  expected: string,
  wrong: readonly { readonly found: string; readonly expected: string }[],
): CheckVerdict {
  const faults = wrong.slice(0, MAX_LISTED).map((one) => ({ code, ...one }));
  if (wrong.length > MAX_LISTED)
    faults.push({
      code,
      found: `${wrong.length - MAX_LISTED} more differences, ${wrong.length} in all`,
      expected: 'none',
    });
  return { measured, expected, faults };
}

const frames: (input: MasterCheckInput) => CheckVerdict = ({ measured, outcome }) => {
  const first = frameFileName(outcome, 0);
  const last = frameFileName(outcome, outcome.frames - 1);
  const wrong = [
    ...measured.missing.map((name) => ({ found: `no ${name}`, expected: name })),
    ...measured.strange.map((name) => ({ found: name, expected: 'the frames of the clip and its metadata' })),
  ];
  return verdict(
    'master-frames-differ',
    `${measured.frames.length} frames`,
    `${outcome.frames} frames, ${first} to ${last}, without a gap`,
    wrong,
  );
};

const structure: (input: MasterCheckInput) => CheckVerdict = ({ measured, outcome }) => {
  const storage = (bytes: number, header: number | null): number => bytes - (header ?? 0);
  const [first] = measured.frames;
  const wanted = first === undefined ? null : storage(first.bytes, first.headerBytes);
  const wrong = measured.frames.flatMap(({ name, faults, bytes, headerBytes }) => [
    ...faults.map((fault) => ({ found: `${name}: ${fault}`, expected: 'a whole frame' })),
    // Without compression the picture of every frame of a clip is as long as that of the first one.
    ...(outcome.compression === 'none' && storage(bytes, headerBytes) !== wanted
      ? [
          {
            found: `${name}: ${storage(bytes, headerBytes)} bytes behind its header`,
            expected: `${wanted} bytes, as the first frame`,
          },
        ]
      : []),
  ]);
  const whole = measured.frames.filter(({ faults }) => faults.length === 0).length;
  return verdict(
    'master-structure-wrong',
    `${whole} of ${measured.frames.length} frames whole to the last byte`,
    `${outcome.frames} frames, whole to the last byte`,
    wrong,
  );
};

/** A field and what it says; of what has many lines those alone that the other has not. */
function apartFrom(key: keyof FrameSaid, said: string | null, other: string | null): string {
  if (key !== 'carried') return `${key} ${said ?? 'none'}`;
  const others = new Set((other ?? '').split('\n'));
  const lines = (said ?? '').split('\n').filter((line) => line !== '' && !others.has(line));
  return lines.length === 0 ? 'nothing of that' : lines.slice(0, 8).join(', ');
}

/** Every attribute but the timecode, which has a check of its own. */
const header: (input: MasterCheckInput) => CheckVerdict = ({ measured, outcome }) => {
  const wrong: { found: string; expected: string }[] = [];
  for (const { index, name, said } of measured.frames) {
    const wanted = saidOf(outcome, index);
    if (said === null) wrong.push({ found: `${name}: a header that cannot be read`, expected: wanted.size });
    else {
      const differing = (Object.keys(wanted) as (keyof FrameSaid)[]).filter(
        (key) => key !== 'timecode' && said[key] !== wanted[key],
      );
      if (differing.length > 0)
        wrong.push({
          found: `${name}: ${differing.map((key) => apartFrom(key, said[key], wanted[key])).join(', ')}`,
          expected: differing.map((key) => apartFrom(key, wanted[key], said[key])).join(', '),
        });
    }
  }
  const { size, compression, colours } = saidOf(outcome, 0);
  return verdict(
    'master-header-differs',
    `${measured.frames.length} headers, ${wrong.length} otherwise`,
    `${size}, ${compression}, ${colours}, and what else was decided, in every frame`,
    wrong,
  );
};

/** Start label and rate of the frames, by the clip itself; the label is asked where a header has a place for it. */
function againstClip(
  measured: MasterMeasured,
  outcome: MasterOutcome,
  source: ClipFacts,
): { found: string; expected: string }[] {
  const rate = rateByClip(source, outcome.cadence);
  const said = measured.frames.find(({ index }) => index === 0)?.said ?? null;
  if (rate === null)
    return [
      { found: 'no rate of the project', expected: 'one in the settings of the clip, which is played at it' },
    ];
  const rateText = rate.den === 1 ? String(rate.num) : `${rate.num}/${rate.den}`;
  const whole = startByClip(source, outcome.cadence, rate);
  const start =
    whole === null || outcome.stretch === null ? whole : labelLater(whole, rate, outcome.stretch.start);
  return [
    ...(said !== null && said.rate !== rateText
      ? [{ found: `${said.rate} frames a second`, expected: `${rateText}, by the clip` }]
      : []),
    ...(said !== null && said.timecode !== null && start !== null && said.timecode !== start
      ? [{ found: `${said.timecode} in the first frame`, expected: `${start}, by the clip` }]
      : []),
    ...framesByClip(outcome, source.video.frames),
  ];
}

/** All frames of the clip, or a stretch that lies within them. */
function framesByClip(
  { frames, stretch }: MasterOutcome,
  ofClip: number,
): { found: string; expected: string }[] {
  if (stretch === null)
    return frames === ofClip ? [] : [{ found: `${frames} frames`, expected: `${ofClip}, as the clip has` }];
  return stretch.of === ofClip && stretch.start + frames <= ofClip
    ? []
    : [
        {
          found: `frames ${stretch.start} to ${stretch.start + frames - 1} of ${stretch.of}`,
          expected: `frames of the ${ofClip} that the clip has`,
        },
      ];
}

const timecode: (input: MasterCheckInput) => CheckVerdict = ({ measured, outcome, source }) => {
  const ofClip = source === null ? [] : againstClip(measured, outcome, source);
  const wrong = measured.frames.flatMap(({ index, name, said }) => {
    const wanted = saidOf(outcome, index).timecode;
    return said?.timecode === wanted
      ? []
      : [{ found: `${name}: ${said?.timecode ?? 'none'}`, expected: wanted ?? 'none' }];
  });
  const label = (index: number): string => saidOf(outcome, index).timecode ?? 'none';
  return verdict(
    'timecode-differs',
    `${measured.frames.length - wrong.length} of ${measured.frames.length} labels in their places`,
    `${label(0)} to ${label(outcome.frames - 1)}, one more in each frame`,
    [...ofClip, ...wrong],
  );
};

/** Differences as parts of what is allowed; more than 1 is a fault. */
export function worstOf(
  form: ComparedForm,
  found: ArrayLike<number>,
  wanted: (pixel: number) => readonly [number, number, number],
  pixels: number,
): { worst: number; at: number; channel: number; expected: number } {
  let worst = { worst: 0, at: 0, channel: 0, expected: 0 };
  const scale = scaleOf(form);
  for (let pixel = 0; pixel < pixels; pixel += 1) {
    const sceneLinear = wanted(pixel);
    const expected = wantedOf(form, sceneLinear);
    const allowed = allowance(form, sceneLinear, expected);
    for (let channel = 0; channel < 3; channel += 1) {
      const off =
        Math.abs(scale(found[3 * pixel + channel] as number) - scale(expected[channel] as number)) /
        (allowed[channel] as number);
      // What is no number compares with nothing: it is as far off as can be.
      const part = Number.isNaN(off) ? Number.POSITIVE_INFINITY : off;
      if (part > worst.worst)
        worst = { worst: part, at: pixel, channel, expected: expected[channel] as number };
    }
  }
  return worst;
}

const CHANNELS = ['red', 'green', 'blue'] as const;

function offWords(
  frame: FrameMeasured,
  found: ArrayLike<number>,
  { worst, at, channel, expected }: ReturnType<typeof worstOf>,
  place: { x: number; y: number },
): { found: string; expected: string } {
  return {
    found: `${frame.name}: ${CHANNELS[channel]} ${found[3 * at + channel]} at ${place.x}, ${place.y}`,
    expected: `${expected.toPrecision(8)} (off by ${worst.toFixed(1)} of what is allowed)`,
  };
}

/** What no single pixel shows of a frame that may lose something, and no frame of a clip. */
function lossOf(
  outcome: MasterOutcome,
  all: readonly {
    readonly name: string;
    readonly found: ArrayLike<number>;
    readonly pixels: number;
    readonly sceneLinear: (pixel: number) => readonly [number, number, number];
  }[],
): { readonly found: string; readonly expected: string }[] {
  if (!isLossy(outcome) || all.length === 0) return [];
  const points = new PointsLoss(outcome);
  const wrong: { found: string; expected: string }[] = [];
  for (const { name, found, pixels, sceneLinear } of all) {
    const wanted = (pixel: number): { value: readonly [number, number, number]; budget: number } => {
      const value = sceneLinear(pixel);
      return { value: wantedOf(outcome, value), budget: budgetOf(value) };
    };
    const part = points.take(found, wanted, pixels);
    if (!(part <= 1))
      wrong.push({
        found: `${name}: ${pixels} pixels off by ${Math.sqrt(part).toFixed(1)} of what they may be together`,
        expected: 'at most 1',
      });
  }
  const { worst, channel, off } = points.mean();
  if (!(worst <= 1))
    wrong.push({
      found: `${CHANNELS[channel]} of all ${all.length} frames off by ${(1000 * off).toPrecision(3)} thousandths of the curve in the mean, ${worst.toFixed(1)} of what it may be`,
      expected: 'at most 1',
    });
  return wrong;
}

/** In every frame, the points of the pixel samples through the transform, in double precision. */
const pixelValues: (input: MasterCheckInput) => CheckVerdict | null = ({
  measured,
  outcome,
  points,
  sceneLinear,
}) => {
  if (
    points === null ||
    sceneLinear === null ||
    points.frames !== outcome.frames ||
    points.width !== outcome.width ||
    points.height !== outcome.height
  )
    return null;
  const wrong: { found: string; expected: string }[] = [];
  let worst = 0;
  let least = Number.POSITIVE_INFINITY;
  let greatest = Number.NEGATIVE_INFINITY;
  let notFinite = 0;
  const all: Parameters<typeof lossOf>[1][number][] = [];
  for (const frame of measured.frames) {
    least = Math.min(least, ...frame.least);
    greatest = Math.max(greatest, ...frame.greatest);
    notFinite += frame.notFinite;
    if (frame.notFinite > 0)
      wrong.push({
        found: `${frame.name}: ${frame.notFinite} values that are infinite or no numbers`,
        expected: 'none',
      });
    if (frame.points === null) {
      wrong.push({ found: `${frame.name}: values that cannot be read`, expected: `${POINTS} pixels` });
      continue;
    }
    const base = 3 * POINTS * frame.index;
    const wanted = (pixel: number): readonly [number, number, number] =>
      sceneLinear(
        points.values[base + 3 * pixel] as number,
        points.values[base + 3 * pixel + 1] as number,
        points.values[base + 3 * pixel + 2] as number,
      );
    const off = worstOf(outcome, frame.points, wanted, POINTS);
    all.push({ name: frame.name, found: frame.points, pixels: POINTS, sceneLinear: wanted });
    worst = Math.max(worst, off.worst);
    if (off.worst > 1)
      wrong.push(
        offWords(
          frame,
          frame.points,
          off,
          pointsOf(frame.index, outcome.width, outcome.height)[off.at] as { x: number; y: number },
        ),
      );
  }
  wrong.push(...lossOf(outcome, all));
  const span =
    measured.frames.length === 0
      ? ''
      : `; all values from ${least.toPrecision(4)} to ${greatest.toPrecision(4)}${notFinite === 0 ? '' : `, ${notFinite} not finite`}`;
  return verdict(
    notFinite > 0 ? 'master-not-finite' : 'master-pixels-differ',
    `${POINTS} pixels of each of ${measured.frames.length} frames, at worst ${worst.toFixed(2)} of what is allowed${span}`,
    inWords(outcome),
    wrong,
  );
};

/** In a few frames many pixels, against the source decoded again and computed by other means. */
const spotCheck: (input: MasterCheckInput) => CheckVerdict | null = ({ measured, outcome, points }) => {
  if (points === null || points.spots.length === 0) return null;
  const wrong: { found: string; expected: string }[] = [];
  let worst = 0;
  let pixels = 0;
  const all: Parameters<typeof lossOf>[1][number][] = [];
  for (const spot of points.spots) {
    const frame = measured.frames.find(({ index }) => index === spot.frame);
    if (frame === undefined || frame.spot === null) {
      wrong.push({
        found: `frame ${spot.frame}: not there, or not to be read`,
        expected: `${spot.pixels.length} pixels`,
      });
      continue;
    }
    const wanted = (pixel: number): readonly [number, number, number] => [
      spot.sceneLinear[3 * pixel] as number,
      spot.sceneLinear[3 * pixel + 1] as number,
      spot.sceneLinear[3 * pixel + 2] as number,
    ];
    const off = worstOf(outcome, frame.spot, wanted, spot.pixels.length);
    all.push({ name: frame.name, found: frame.spot, pixels: spot.pixels.length, sceneLinear: wanted });
    worst = Math.max(worst, off.worst);
    pixels += spot.pixels.length;
    if (off.worst > 1)
      wrong.push(offWords(frame, frame.spot, off, spot.pixels[off.at] as { x: number; y: number }));
  }
  wrong.push(...lossOf(outcome, all));
  return verdict(
    'master-spot-check-differs',
    `${pixels} pixels of frames ${points.spots.map(({ frame }) => frame).join(', ')}, at worst ${worst.toFixed(2)} of what is allowed`,
    `the source decoded again: ${inWords(outcome)}`,
    wrong,
  );
};

/** The files hold the bytes that left the encoder. */
const writeVerify: (input: MasterCheckInput) => CheckVerdict | null = ({
  measured,
  outcome,
  written: left,
}) => {
  if (left === null || (left.frames !== null && left.frames.length !== outcome.frames)) return null;
  const digest = writtenDigest(measured.frames.map(({ xxh128 }) => xxh128));
  const differing = measured.frames
    .filter(({ index, xxh128 }) => left.frames !== null && left.frames[index] !== xxh128)
    .map(({ index, name, xxh128 }) => ({
      found: `${name}: XXH128 ${xxh128}`,
      expected: `XXH128 ${left.frames?.[index]}`,
    }));
  const wrong =
    differing.length > 0 || digest === left.digest
      ? differing
      : [{ found: `digest ${digest}`, expected: `digest ${left.digest}` }];
  return verdict(
    'bitstream-differs',
    `${measured.frames.length} frames, digest of all ${digest}`,
    `${outcome.frames} frames as they left the encoder, digest of all ${left.digest}`,
    wrong,
  );
};

export const masterChecksBy: Readonly<Record<MasterCheck, (input: MasterCheckInput) => CheckVerdict | null>> =
  {
    frames,
    timecode,
    structure,
    header,
    'pixel-values': pixelValues,
    'spot-check': spotCheck,
    'write-verify': writeVerify,
    'frames-as-decoded': ({ outcome, points }) => readingVerdict(outcome, points?.reading),
    'whole-frames': ({ measured, outcome, points, seen }) => wholeFrames(measured, outcome, points, seen),
    amf: ({ measured, outcome, sceneLinear }) => judgeCompanions(measured.companions, outcome, sceneLinear),
  };
