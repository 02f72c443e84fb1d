/**
 * The check `whole-frames` of a movie for grading: every sample of what its encoder was given is what the frame threads made (by SHA-256, in
 * every frame), and what they made is what their scene-linear values say (every sample of the frames that have spots).
 */
import type { FindingSubject } from '../../findings/finding.ts';
import type { ValuesMeasured } from '../../ledger/report.ts';
import { HASH_BYTES } from '../../proof/exact.ts';
import { rangeOfAll, type ValuesSeen } from '../../proof/value-range.ts';
import type { WholeCodes } from '../../proof/whole-codes.ts';
import type { CheckVerdict } from '../check.ts';
import { type WhileMadeReport, whileMadeReport } from '../while-made.ts';

export interface HandedOver {
  /** By frame, SHA-256 of the picture as a thread made it. */
  readonly sha256: readonly string[];
  /** Of each picture that the encoder was given. */
  readonly given: Buffer;
  readonly whole: readonly { readonly frame: number; readonly codes: WholeCodes }[];
  readonly frames: number;
  /** What the threads saw of the values before they became codes. */
  readonly seen: ValuesSeen;
  /** Of a frame. */
  readonly pixels: number;
  /** Codes of a movie for grading, or of pictures on their way to a display. */
  readonly format: 'rdd36' | 'shown';
}

const CHECK = 'whole-frames';
const MAX_LISTED = 8;
const FORMS = {
  rdd36: { planes: ["Y'", 'Cb', 'Cr'], bits: 10, ends: "4 or 1019 of Y'CbCr" },
  shown: { planes: ["R'", "G'", "B'"], bits: 14, ends: "0 or 16383 of R'G'B'" },
} as const;
/** proof/whole-codes.ts; worker/master/encoder-input.ts goes by it. */
const ALLOWED = { rdd36: '0.52', shown: '0.6' } as const;
type Wrong = { readonly found: string; readonly expected: string };

function handedOver({ sha256, given, frames }: HandedOver): Wrong[] {
  const count = given.length / HASH_BYTES;
  const wrong: Wrong[] = [];
  if (count !== frames || sha256.length !== frames)
    wrong.push({
      found: `${sha256.length} pictures made, ${count} given to the encoder`,
      expected: `${frames} of each`,
    });
  for (let frame = 0; frame < Math.min(count, frames); frame += 1) {
    const found = given.toString('hex', frame * HASH_BYTES, (frame + 1) * HASH_BYTES);
    if (found === sha256[frame]) continue;
    const other = sha256.indexOf(found);
    wrong.push({
      found: `frame ${frame}: the encoder was given ${other < 0 ? 'another picture' : `the picture of frame ${other}`}`,
      expected: 'the picture that was made of it, to the last sample',
    });
  }
  return wrong;
}

function madeOfLight({ whole, format }: HandedOver): Wrong[] {
  if (whole.length === 0) return [{ found: 'no frame compared whole', expected: 'the first and the last' }];
  return whole.flatMap(({ frame, codes: { count, farthest } }): Wrong[] =>
    count === 0 || farthest === null
      ? []
      : [
          {
            found: `frame ${frame}: ${FORMS[format].planes[farthest.plane]} ${farthest.found} at ${farthest.x}, ${farthest.y}${count === 1 ? '' : `, and ${count - 1} more samples`}`,
            expected: `${farthest.expected.toFixed(3)}, at most ${ALLOWED[format]} codes beside it`,
          },
        ],
  );
}

function valuesOf({ seen: { ranges, limited }, pixels, format }: HandedOver): ValuesMeasured {
  const { least, greatest, overWhite } = rangeOfAll(ranges);
  return {
    of: `linear AP0, before it became ${FORMS[format].bits}-bit codes of ACEScct; at the ends: codes that were limited, to ${FORMS[format].ends}`,
    channels: (['R', 'G', 'B'] as const).map((channel, at) => ({
      channel,
      least: least[at] as number,
      greatest: greatest[at] as number,
    })),
    atEnds: limited.reduce((sum, { below, above }) => sum + below + above, 0),
    overWhite,
    pixels: pixels * ranges.length,
  };
}

/** Pure. */
export function checkHandedOver(seen: HandedOver, subject: FindingSubject): WhileMadeReport {
  const wrong = [...handedOver(seen), ...madeOfLight(seen)];
  const faults = wrong
    .slice(0, MAX_LISTED)
    .map((one) => ({ code: 'master-picture-differs' as const, ...one }));
  if (wrong.length > MAX_LISTED)
    faults.push({
      code: 'master-picture-differs',
      found: `${wrong.length - MAX_LISTED} more differences, ${wrong.length} in all`,
      expected: 'none',
    });
  const samples = seen.whole.reduce((sum, { codes }) => sum + codes.samples, 0);
  const limited = seen.whole.reduce((sum, { codes }) => sum + codes.limited, 0);
  const worst = Math.max(0, ...seen.whole.map(({ codes }) => codes.worst));
  const verdict: CheckVerdict = {
    measured: `${seen.given.length / HASH_BYTES} pictures given to the encoder, held by SHA-256 against those that were made; ${samples} samples of frames ${seen.whole.map(({ frame }) => frame).join(', ')}, the farthest ${worst.toFixed(2)} codes off; ${limited} of them at an end of the scale, ${FORMS[seen.format].ends}${limited === 0 ? '' : ': what lies beyond is limited to it'}`,
    expected: `every sample as it was made, and within ${ALLOWED[seen.format]} of a ${FORMS[seen.format].bits}-bit code of double precision`,
    faults,
    ...(seen.seen.ranges.length === 0 ? {} : { values: valuesOf(seen) }),
  };
  return whileMadeReport(CHECK, verdict, subject);
}
