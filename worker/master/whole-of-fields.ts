/** A whole frame of fields, computed again from coded frames in the deinterlacer's own whole numbers, for the spots of masters and for stills. Pure. */
import { earlierField, type VideoFacts } from '../../media/facts.ts';
import { deinterlaced, waysMade } from '../../proof/encoder-input/deinterlace.ts';
import { bandOf, layoutOf, type SamplePlane } from '../../proof/encoder-input/samples.ts';

/** `frames`: `count` coded pictures, one behind the other, of which `at` is the one; that before it is there unless it is the first of the clip. Gives each way in which it may have been made. */
export function wholeOfFields(
  video: VideoFacts,
  frames: Buffer,
  { at, count, isFirst }: { readonly at: number; readonly count: number; readonly isFirst: boolean },
): Buffer[] {
  const layout = layoutOf(video.pixelFormat);
  const earlier = earlierField(video);
  if (layout === null || layout.kind !== 'yuv' || earlier === null)
    throw new RangeError(`fields of ${video.pixelFormat}`);
  const { bits, word, bigEndian } = layout;
  const size = frames.length / count;
  const pictures = Array.from({ length: count }, (_, index) =>
    bandOf(layout, frames.subarray(index * size, (index + 1) * size), video, { from: 0, to: video.height }),
  );
  const now = pictures[at] as SamplePlane[];
  // Before the first frame and behind the last the deinterlacer takes that one again.
  const before = isFirst ? now : (pictures[at - 1] as SamplePlane[]);
  const after = pictures[at + 1] ?? now;
  return waysMade(isFirst).map((end) => {
    const out = Buffer.alloc(size);
    let place = 0;
    for (const [component, plane] of now.entries()) {
      const { values } = deinterlaced({
        end,
        of: 'earlier',
        before: before[component] as SamplePlane,
        now: plane,
        after: after[component] as SamplePlane,
        earlier,
        firstLine: 0,
        lines: plane.height,
        bits,
      });
      for (const value of values) {
        if (bigEndian) out.writeUIntBE(value, place, word);
        else out.writeUIntLE(value, place, word);
        place += word;
      }
    }
    return out;
  });
}
