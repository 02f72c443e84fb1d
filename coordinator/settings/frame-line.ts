/** What the settings say of the part of a picture that was framed for, and which part of a clip that is. Pure. */
import { z } from 'zod';
import { type Finding, finding } from '../../findings/finding.ts';
import type { VideoFacts } from '../../media/facts.ts';

const places = { left: z.number(), top: z.number(), width: z.number(), height: z.number() };
const fraction = z.number().min(0).max(1);

export const frameLineSchema = z
  .union([
    z.literal('none').describe('The whole picture'),
    z
      .strictObject({
        aspect: z
          .number()
          .min(0.2)
          .max(5)
          .describe('Width to height, as 2.39: the largest such part, in the middle'),
      })
      .describe('By its shape'),
    z
      .strictObject({
        left: fraction,
        top: fraction,
        width: fraction.refine((width) => width > 0, { message: 'more than 0' }),
        height: fraction.refine((height) => height > 0, { message: 'more than 0' }),
      })
      .describe('In parts of the width and height of the upright picture'),
    z
      .strictObject({
        pixels: z.strictObject({
          left: places.left.int().nonnegative(),
          top: places.top.int().nonnegative(),
          width: places.width.int().positive(),
          height: places.height.int().positive(),
        }),
        of: z.strictObject({ width: z.int().positive(), height: z.int().positive() }),
      })
      .describe('In pixels of the upright picture, whose size is `of`: clips of another size are held'),
  ])
  .describe(
    'What of the picture was framed for: proxies show what is inside and nothing else, masters and lossless copies keep everything',
  );
export type WrittenFrameLine = z.infer<typeof frameLineSchema>;
type FrameLine = NonNullable<VideoFacts['frameLine']>;

const middle = (width: number, height: number): FrameLine => ({
  left: (1 - width) / 2,
  top: (1 - height) / 2,
  width,
  height,
});

function uprightOf({ width, height, rotation }: VideoFacts): {
  width: number;
  height: number;
  turned: boolean;
} {
  const turned = rotation === 90 || rotation === 270;
  return turned ? { width: height, height: width, turned } : { width, height, turned };
}

/** null: the whole picture. */
export function frameLineOf(written: WrittenFrameLine, video: VideoFacts): FrameLine | null | Finding {
  if (written === 'none') return null;
  const { width, height, turned } = uprightOf(video);
  if ('aspect' in written) {
    const { num, den } = video.pixelAspect;
    const shape = (width / height) * (turned ? den / num : num / den);
    return written.aspect > shape ? middle(1, shape / written.aspect) : middle(written.aspect / shape, 1);
  }
  if ('pixels' in written) {
    const { pixels, of } = written;
    if (of.width !== width || of.height !== height)
      return finding(
        'frame-line-misfit',
        `a picture of ${width}x${height}`,
        `${of.width}x${of.height}, of which the frame line is`,
      );
    return inside({
      left: pixels.left / width,
      top: pixels.top / height,
      width: pixels.width / width,
      height: pixels.height / height,
    });
  }
  return inside(written);
}

const MOST = 1 + 1e-9;
const percent = (part: number): string => `${(100 * part).toFixed(1)} %`;

function inside(line: FrameLine): FrameLine | Finding {
  if (line.left + line.width <= MOST && line.top + line.height <= MOST) return line;
  return finding(
    'frame-line-misfit',
    `a frame line that ends at ${percent(line.left + line.width)} of the width and ${percent(line.top + line.height)} of the height`,
    'a frame line inside the picture',
  );
}

/** For people. */
export function frameLineText({ left, top, width, height }: FrameLine, video: VideoFacts): string {
  const size = uprightOf(video);
  const pixels = (part: number, whole: number): number => Math.round(part * whole);
  return `${pixels(width, size.width)}x${pixels(height, size.height)} at ${pixels(left, size.width)},${pixels(top, size.height)} of ${size.width}x${size.height}`;
}
