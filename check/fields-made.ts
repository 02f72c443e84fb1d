/** Frames of fields: each of its own field, in its order and its place, seen by fingerprints of the fields and of what was made of them. Pure. */
import type { FindingCode } from '../findings/registry.ts';
import { type Finding, type FindingSubject, finding } from '../findings/finding.ts';
import { comparePictures } from '../proof/compare.ts';
import { CELLS, COLOUR_CELLS, type FrameFingerprints } from '../proof/form.ts';

const BASIS = { matrix: 'bt709', range: 'limited' } as const;

export interface FieldsMade {
  /** Of both fields of each decoded frame. */
  readonly decoded: FrameFingerprints;
  /** null: nothing came. */
  readonly made: FrameFingerprints | null;
  /** On which side of the later field's lines those of the earlier one are seen. */
  readonly earlier: Side;
  /** Of the picture as it is seen. */
  readonly width: number;
  readonly height: number;
}

type Side = 'top' | 'bottom' | 'left' | 'right';
const OTHER_SIDE = { top: 'bottom', bottom: 'top', left: 'right', right: 'left' } as const satisfies Record<
  Side,
  Side
>;

/** For masters: a frame of the earlier field of each. */
export function fieldsMadeFindings(fields: FieldsMade, subject: FindingSubject): Finding[] {
  const { decoded, made } = fields;
  const differs = differsBy('master-frames-not-as-decoded', subject);
  if (made === null || made.frames !== decoded.frames)
    return [differs(`${made?.frames ?? 0} frames made of fields`, `${decoded.frames}, one of each frame`)];
  return frameFindings({ ...fields, made }, differs, subject);
}

/** A frame of each field, the earlier one of each frame first. */
export function fieldsSplitFindings(fields: FieldsMade, subject: FindingSubject): Finding[] {
  const { decoded, made, earlier } = fields;
  const differs = differsBy('split-frames-not-as-decoded', subject);
  if (made === null || made.frames !== 2 * decoded.frames)
    return [differs(`${made?.frames ?? 0} frames of fields`, `${2 * decoded.frames}, one of each field`)];
  const later = OTHER_SIDE[earlier];
  return [
    ...frameFindings({ ...fields, made: everySecond(made, 0) }, differs, subject),
    ...frameFindings(
      {
        ...fields,
        decoded: laterFirst(decoded),
        made: { ...everySecond(made, 1), colour: null },
        earlier: later,
      },
      differs,
      subject,
    ),
  ];
}

type Differs = (found: string, expected: string) => Finding;
const differsBy =
  (code: FindingCode, subject: FindingSubject): Differs =>
  (found, expected) =>
    finding(code, found, expected, subject);

/** One frame of each frame: of its field that is named, which is seen first. */
function frameFindings(
  { decoded, made, earlier, width, height }: FieldsMade & { readonly made: FrameFingerprints },
  differs: Differs,
  subject: FindingSubject,
): Finding[] {
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
    fields: { earlier, lines: earlier === 'top' || earlier === 'bottom' ? height : width },
  });
  const later = OTHER_SIDE[earlier];
  if (fields === 'reversed')
    return [finding('fields-reversed', `frames of the ${later} fields`, `the ${earlier} fields`, subject)];
  if (turn !== null) return [differs(`frames that are ${turn}`, 'as they were decoded')];
  if (differences.length > 0)
    return [
      differs(
        `${differences.length} frames that are not of their own ${earlier} fields`,
        'every frame of its own',
      ),
    ];
  return placement?.displaced === true
    ? [differs('frames that lie beside their fields', 'every line in its place')]
    : [];
}

const part = (values: Uint16Array, at: number, size: number): Uint16Array =>
  values.subarray(at * size, (at + 1) * size);

/** Every second frame, from frame `first` on. */
function everySecond({ frames, luma, colour }: FrameFingerprints, first: 0 | 1): FrameFingerprints {
  const count = Math.floor((frames + 1 - first) / 2);
  const taken = (values: Uint16Array, size: number): Uint16Array => {
    const out = new Uint16Array(count * size);
    for (let at = 0; at < count; at += 1) out.set(part(values, 2 * at + first, size), at * size);
    return out;
  };
  return {
    frames: count,
    views: 1,
    luma: taken(luma, CELLS),
    colour: colour === null ? null : taken(colour, 2 * COLOUR_CELLS),
  };
}

/** Of each frame the later field before the earlier one. Colour is of the earlier field, and is left out. */
function laterFirst({ frames, luma }: FrameFingerprints): FrameFingerprints {
  const out = new Uint16Array(luma.length);
  for (let field = 0; field < 2 * frames; field += 1)
    out.set(part(luma, field % 2 === 0 ? field + 1 : field - 1, CELLS), field * CELLS);
  return { frames, views: 2, luma: out, colour: null };
}
