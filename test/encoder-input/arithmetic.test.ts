/** The arithmetic by which the encoder's input is computed again, against ffmpeg's own scaler and deinterlacer: whole frames of noise over all codes, edges included. */
import { execFileSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { deinterlaced, type EndFrame, fieldShown, waysMade } from '../../proof/encoder-input/deinterlace.ts';
import { modelOf } from '../../proof/encoder-input/model.ts';
import {
  layoutOf,
  type PixelLayout,
  type SamplePlane,
  samplesOf,
} from '../../proof/encoder-input/samples.ts';
import { further } from '../support/lane.ts';

/** Noise, and what ffmpeg 7.1.5 (Debian 13) made of its first frame. */
const BWDIF = JSON.parse(
  readFileSync(new URL('../fixtures/vectors/bwdif-7.1.json', import.meta.url), 'utf8'),
) as {
  readonly width: number;
  readonly height: number;
  readonly source: readonly number[][][];
  readonly top: readonly number[][];
  readonly bottom: readonly number[][];
};

const FLAGS = 'bicubic+accurate_rnd+full_chroma_int+full_chroma_inp+bitexact';
/** Cut to size behind its own source, which makes odd sizes even. */
const noise = (size: string, format: string): string => {
  const [width, height] = size.split('x');
  return `testsrc2=s=256x256:r=24,noise=alls=100:allf=t:all_seed=3,format=${format},crop=w=${width}:h=${height}:x=0:y=0:exact=1`;
};

function layout(format: string): PixelLayout {
  const found = layoutOf(format);
  if (found === null) throw new Error(format);
  return found;
}
function raw(graph: string, frames: number): Buffer {
  return execFileSync(
    'ffmpeg',
    [
      ...['-hide_banner', '-loglevel', 'error', '-nostdin', '-f', 'lavfi', '-i'],
      ...[`${graph},trim=end_frame=${frames}`, '-fps_mode', 'passthrough', '-f', 'rawvideo', '-'],
    ],
    { maxBuffer: 2 ** 28 },
  );
}
const planes = (format: string, bytes: Buffer, width: number, height: number): SamplePlane[] =>
  samplesOf(layout(format), bytes, { width, height, kept: { width, height }, count: 1, index: 0 });

describe('the scaler', () => {
  test.each<[string, [number, number], string, [number, number]]>([
    ['yuv420p', [200, 120], 'yuv422p', [144, 90]],
    ['yuv422p10le', [200, 120], 'yuv422p', [318, 180]],
    ...further<[string, [number, number], string, [number, number]]>(
      ['yuv420p10le', [200, 120], 'yuv420p', [66, 40]],
      ['yuv444p12le', [201, 121], 'yuv422p10le', [200, 120]],
      ['yuv422p10le', [200, 120], 'yuv422p10le', [198, 120]],
    ),
  ])(
    '%s of %j to %s of %j: every sample within its rounding',
    (from, [width, height], to, [toWidth, toHeight]) => {
      const limited = { matrix: 'bt709', range: 'limited' } as const;
      const source = raw(noise(`${width}x${height}`, from), 1);
      const across = (side: 'in' | 'out', format: string): string =>
        `${/444/.test(format) ? '' : `:${side}_h_chr_pos=0`}${/420/.test(format) ? `:${side}_v_chr_pos=128` : ''}`;
      const made = raw(
        `${noise(`${width}x${height}`, from)},scale=w=${toWidth}:h=${toHeight}:flags=${FLAGS}:in_color_matrix=bt709:out_color_matrix=bt709:in_range=limited:out_range=limited${across('in', from)}${across('out', to)},format=${to}`,
        1,
      );
      const model = modelOf({
        from: layout(from),
        to: layout(to),
        source: limited,
        output: limited,
        siting: 'left',
        size: { width, height },
        scaled: { width: toWidth, height: toHeight },
      });
      const place = { source: { x: 0, y: 0 }, made: { x: 0, y: 0 } };
      const expected = model.expected(planes(from, source, width, height), place, {
        width: toWidth,
        height: toHeight,
      });
      for (const [plane, found] of planes(to, made, toWidth, toHeight).entries()) {
        const wanted = expected[plane] as SamplePlane;
        expect([wanted.width, wanted.height]).toEqual([found.width, found.height]);
        let worst = 0;
        found.values.forEach((value, at) => {
          worst = Math.max(worst, Math.abs(value - (wanted.values[at] as number)));
        });
        // NaN is more than anything, and stands for a sample that was not computed.
        expect(wanted.values.some(Number.isNaN)).toBe(false);
        expect(worst).toBeLessThanOrEqual(model.allowed[plane as 0 | 1 | 2]);
        // And it does differ by rounding: nothing was compared with itself.
        expect(worst).toBeGreaterThan(0);
      }
    },
  );
});

// Measured with ffmpeg 5.1 and 7.1: the scaler copies chroma of the same size, wherever it is said to lie.
describe('chroma that lies elsewhere in a picture of the same size', () => {
  test.each([
    ['yuv420p', 'right', [256, 128]],
    ['yuv420p10le', 'topleft', [0, 0]],
  ] as const)('%s, %s: every sample within its rounding', (format, siting, [across, down]) => {
    const [width, height] = [200, 120];
    const limited = { matrix: 'bt709', range: 'limited' } as const;
    const colours = (side: 'in' | 'out'): string => `${side}_color_matrix=bt709:${side}_range=limited`;
    const source = raw(noise(`${width}x${height}`, format), 1);
    const made = raw(
      [
        noise(`${width}x${height}`, format),
        `scale=w=${width}:h=${height}:flags=${FLAGS}:${colours('in')}:in_h_chr_pos=${across}:in_v_chr_pos=${down}:${colours('out')}`,
        'format=yuv444p16le',
        `scale=flags=${FLAGS}:${colours('in')}:${colours('out')}:out_h_chr_pos=0:out_v_chr_pos=128`,
        `format=${format}`,
      ].join(','),
      1,
    );
    const size = { width, height };
    const model = modelOf({
      ...{ from: layout(format), to: layout(format), source: limited, output: limited },
      ...{ siting, size, scaled: size },
    });
    const place = { source: { x: 0, y: 0 }, made: { x: 0, y: 0 } };
    const expected = model.expected(planes(format, source, width, height), place, size);
    for (const [plane, found] of planes(format, made, width, height).entries()) {
      const wanted = (expected[plane] as SamplePlane).values;
      const apart = found.values.map((value, at) => Math.abs(value - (wanted[at] as number)));
      expect(Math.max(...apart)).toBeLessThanOrEqual(model.allowed[plane as 0 | 1 | 2]);
    }
    const [, cb] = planes(format, source, width, height) as [SamplePlane, SamplePlane, SamplePlane];
    const moved = cb.values.filter(
      (value, at) => Math.abs(value - ((expected[1] as SamplePlane).values[at] as number)) > 4,
    );
    expect(moved.length).toBeGreaterThan(cb.values.length / 4);
  });
});

describe('the deinterlacer', () => {
  test.each([
    ['yuv422p', 'top', 'each frame'],
    ['yuv420p10le', 'bottom', 'each frame'],
    ['yuv422p10le', 'top', 'each field'],
    ['yuv420p', 'bottom', 'each field'],
  ] as const)(
    '%s with the %s field first, a frame of %s: every sample, first and last frame included',
    (format, earlier, wanted) => {
      const [width, height, frames] = [64, 48, 5];
      const each = wanted === 'each frame' ? 1 : 2;
      const source = raw(noise(`${width}x${height}`, format), frames);
      const made = raw(
        `${noise(`${width}x${height}`, format)},trim=end_frame=${frames},bwdif=mode=${each === 1 ? 'send_frame' : 'send_field'}:parity=${earlier === 'top' ? 'tff' : 'bff'}:deint=all`,
        each * frames,
      );
      const size = source.length / frames;
      const at = (bytes: Buffer, frame: number): SamplePlane[] =>
        planes(format, bytes.subarray(frame * size, (frame + 1) * size), width, height);
      const madeBy = (made: number, end: EndFrame | null): Float64Array[] => {
        const { frame, of } = fieldShown(made, each, each * frames);
        return at(source, frame).map(
          (now, plane) =>
            deinterlaced({
              ...{ end, of, now, earlier, firstLine: 0, lines: now.height },
              before: at(source, Math.max(0, frame - 1))[plane] as SamplePlane,
              after: at(source, Math.min(frames - 1, frame + 1))[plane] as SamplePlane,
              bits: layout(format).bits,
            }).values,
        );
      };
      expect(made.length).toBe(each * source.length);
      for (let frame = 0; frame < each * frames; frame += 1)
        // A frame at an end is made by one of two ways as the build has it, whole.
        expect(
          waysMade(fieldShown(frame, each, each * frames).isAtEnd).map((end) => madeBy(frame, end)),
        ).toContainEqual(at(made, frame).map(({ values }) => Float64Array.from(values)));
    },
  );

  test.each(['top', 'bottom'] as const)(
    'the first frame, %s field first, as ffmpeg 7.1 makes it: edges of three frames, all else of its own field',
    (earlier) => {
      const { width, height } = BWDIF;
      const plane = (rows: readonly (readonly number[])[]): SamplePlane => ({
        width,
        height,
        values: Float64Array.from(rows.flat()),
      });
      const [now, after] = BWDIF.source as [number[][], number[][]];
      const made = (end: EndFrame): number[] => [
        ...deinterlaced({
          ...{ end, of: 'earlier', before: plane(now), now: plane(now), after: plane(after), earlier },
          ...{ firstLine: 0, lines: height, bits: 8 },
        }).values,
      ];
      expect(made('edges-of-three')).toEqual(BWDIF[earlier].flat());
      expect(made('field-alone')).not.toEqual(BWDIF[earlier].flat());
    },
  );
});
