import type { FindingCode } from '../../findings/registry.ts';
import type { PictureError } from '../../ledger/report.ts';
import { formatTimecode } from '../../media/time/timecode.ts';
import type { Outcome } from '../../profiles/outcome.ts';
import { psnrOf } from '../../proof/sketch/error.ts';
import { type PictureErrorVerdict, planeNames } from '../../proof/sketch/verdict.ts';
import type { Check } from '../check.ts';

const codes = {
  frame: 'picture-error-frame',
  region: 'picture-error-region',
  stated: 'picture-error-stated',
  large: 'picture-error-large',
  drift: 'picture-error-drift',
} as const satisfies Record<string, FindingCode>;

/** Numbers of a curve, however long the clip is. */
const CURVE = 48;
/** More would bury the first. */
const MAX_LISTED = 8;

const rounded = (decibels: number): number => Math.round(decibels * 100) / 100;

function timecodeOf({ timecode }: Outcome, frame: number): string | null {
  return timecode === null ? null : formatTimecode({ ...timecode, frame: timecode.frame + frame });
}

function summaryOf({ frames, errors, planes, peak }: PictureErrorVerdict, outcome: Outcome): PictureError {
  return {
    planes: planeNames.slice(0, planes).map((plane, number) => {
      const psnr = Array.from({ length: frames }, (_, frame) =>
        psnrOf(errors[frame * planes + number] as number, peak),
      );
      const sorted = [...psnr].sort((a, b) => a - b);
      const worst = sorted[0] ?? 0;
      const frame = Math.max(0, psnr.indexOf(worst));
      const parts = Math.min(CURVE, frames);
      return {
        plane,
        median: rounded(sorted[sorted.length >> 1] ?? 0),
        worst: rounded(worst),
        frame,
        timecode: timecodeOf(outcome, frame),
        curve: Array.from({ length: parts }, (_, part) =>
          rounded(
            psnr
              .slice(Math.floor((part * frames) / parts), Math.floor(((part + 1) * frames) / parts))
              .reduce((least, value) => Math.min(least, value), Number.POSITIVE_INFINITY),
          ),
        ),
      };
    }),
  };
}

/** What lies between the picture that the encoder was given and the one in the file is the codec's own loss: in no frame, plane or region more. */
export const pictureError: Check = {
  name: 'picture-error',
  rests: ['decode', 'sketch'],
  run: ({ pictureError: verdict, outcome }) => {
    const least = outcome.pictureError?.leastPsnr ?? null;
    if (verdict === null || least === null || verdict.frames === 0) return null;
    const summary = summaryOf(verdict, outcome);
    const words = summary.planes.map(
      ({ plane, worst, median, frame, timecode }) =>
        `${plane} ${worst.toFixed(1)} dB at worst (frame ${frame}${timecode === null ? '' : `, ${timecode}`}), ${median.toFixed(1)} in the middle`,
    );
    const listed = verdict.faults.slice(0, MAX_LISTED).map(({ kind, found, expected }) => ({
      code: codes[kind],
      found,
      expected,
    }));
    const rest = verdict.faults.length - listed.length;
    return {
      measured: `PSNR ${words.join('; ')}${verdict.faults.length === 0 ? '' : `; ${verdict.faults.length} faults`}`,
      expected: `the codec's own loss, alike in all frames and regions, and ${least} dB where the picture allows it`,
      pictureError: summary,
      faults:
        rest === 0
          ? listed
          : [
              ...listed,
              {
                code: codes[verdict.faults[MAX_LISTED]?.kind ?? 'frame'],
                found: `${rest} more faults`,
                expected: 'none',
              },
            ],
    };
  },
};
