/** From a frame of what was handed over back to the frame of the source, by the document alone: what a bin or a timeline of ours says of a clip. Pure. */
import { z } from 'zod';
import { gridSchema, splitSchema } from '../profiles/cadence.ts';
import { sourceNameAt, sourceNamesSchema } from '../profiles/master/source-name.ts';
import { sourceFrameOf } from './counting.ts';
import { SOURCE_KEY } from './otio/clip.ts';
import { NAMESPACE } from './otio/objects.ts';
import type { OtioClip } from './otio/read.ts';

const madeSchema = z.looseObject({
  reel: z.string().nullable(),
  grid: gridSchema.nullable(),
  split: splitSchema.nullable(),
  first_source_frame: z.int().nonnegative().default(0),
});
const sourceSchema = z.looseObject({ reel: z.string(), frames: z.int(), files: sourceNamesSchema });

export interface SourceFrame {
  readonly reel: string;
  /** Name of the file, and which frame of it: of numbered frames its number, of a movie from 0. */
  readonly file: string;
  readonly frame: number;
  /** Of the whole clip, from 0. */
  readonly index: number;
  /** Which field of that frame, where each is a frame of its own; null: all of it. */
  readonly field: 'top' | 'bottom' | null;
  /** Its count in the labels of the source, at the rate of those. */
  readonly value: number;
  readonly rate: number;
}

/** `value`: of a time in the reference's own range. null: no frame of it, or a reference that says nothing of ours. */
export function sourceFrameAt(clip: OtioClip, key: string, value: number): SourceFrame | null {
  const [made, source] = [clip.references.get(key), clip.references.get(SOURCE_KEY)];
  const [range, whole] = [made?.available_range, source?.available_range];
  if (range == null || whole == null) return null;
  const said = sourceSchema.safeParse(source?.metadata[NAMESPACE]);
  const mine =
    key === SOURCE_KEY
      ? { grid: null, split: null, first_source_frame: 0 }
      : madeSchema.safeParse(made?.metadata[NAMESPACE]).data;
  const frame = value - range.start_time.value;
  if (!said.success || mine === undefined || !Number.isInteger(frame)) return null;
  if (frame < 0 || frame >= range.duration.value) return null;
  const { frame: own, field } = sourceFrameOf(mine, frame);
  const index = mine.first_source_frame + own;
  return {
    reel: said.data.reel,
    ...sourceNameAt(said.data.files, index),
    index,
    field,
    value: whole.start_time.value + index,
    rate: whole.start_time.rate,
  };
}
