/** Frames of fields for masters: of each the earlier field, in its order and its place, seen by fingerprints of the fields and of what was made of them. Pure. */
import { type Finding, type FindingSubject, finding } from '../findings/finding.ts';
import { comparePictures } from '../proof/compare.ts';
import type { FrameFingerprints } from '../proof/form.ts';

const CODE = 'master-frames-not-as-decoded';
const BASIS = { matrix: 'bt709', range: 'limited' } as const;

export interface FieldsMade {
  /** Of both fields of each decoded frame. */
  readonly decoded: FrameFingerprints;
  /** null: nothing came. */
  readonly made: FrameFingerprints | null;
  readonly earlier: 'top' | 'bottom';
  readonly width: number;
  readonly height: number;
}

export function fieldsMadeFindings(
  { decoded, made, earlier, width, height }: FieldsMade,
  subject: FindingSubject,
): Finding[] {
  const differs = (found: string, expected: string): Finding => finding(CODE, found, expected, subject);
  if (made === null || made.frames !== decoded.frames)
    return [differs(`${made?.frames ?? 0} frames made of fields`, `${decoded.frames}, one of each frame`)];
  const { differences, turn, placement, fields } = comparePictures({
    source: decoded,
    output: made,
    framing: {
      scaled: { width, height },
      window: { left: 0, top: 0, width, height },
      covered: [],
      inset: null,
    },
    coding: 'intra',
    // Nothing converts them: whatever their levels are, both have the same.
    basis: { source: BASIS, output: BASIS },
    fields: { earlier, lines: height },
  });
  if (fields === 'reversed')
    return [
      finding(
        'fields-reversed',
        'frames of the later fields',
        `the ${earlier} fields, which are earlier`,
        subject,
      ),
    ];
  if (turn !== null) return [differs(`frames that are ${turn}`, 'as they were decoded')];
  if (differences.length > 0)
    return [
      differs(`${differences.length} frames that are not of their own fields`, 'every frame of its own'),
    ];
  return placement?.displaced === true
    ? [differs('frames that lie beside their fields', 'every line in its place')]
    : [];
}
