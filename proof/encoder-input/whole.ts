/**
 * Whole frames of the encoder's input against the source: the first, the last and some in between, every sample of every plane. Taken in
 * bands of lines, so that a frame of any raster needs no more memory than its own bytes and a band.
 */
import { setImmediate as breathe } from 'node:timers/promises';
import type { Readable } from 'node:stream';
import { deinterlaced, type EndFrame, fieldShown, waysMade } from './deinterlace.ts';
import type { Rectangle } from '../framing.ts';
import { addLimits, type Limits, noLimits } from './passes.ts';
import { readFrames } from '../raw-frames.ts';
import type { CompareRequest, OffSample } from './request.ts';
import { bandOf, bytesOf, type PixelLayout, type SamplePlane } from './samples.ts';
import type { TilePlan } from './tiles.ts';

export type WholeSide = 'source' | 'given' | 'untexted';

export interface WholeVerdict {
  /** Those that were to be compared, and those that came from both sides. */
  readonly wanted: readonly number[];
  readonly frames: readonly number[];
  readonly samples: number;
  /** Parts of what is allowed that the farthest sample is off. */
  readonly worst: number;
  readonly off: readonly OffSample[];
  /** Samples that the arithmetic gave no value for. */
  readonly unknown: number;
  readonly limits: Limits;
  readonly milliseconds: number;
}

/** Lines of the encoder's input that are taken at a time. A multiple of 4: no chroma sample lies in two bands. */
const BAND = 64;

/** Frames of the source that a frame is made of. */
export function sourcesOf(
  { each, frames, held }: Pick<TilePlan, 'each' | 'frames' | 'held'>,
  made: number,
): number[] {
  const { frame } = fieldShown(made, each, frames);
  return held === 1
    ? [frame]
    : [frame - 1, frame, frame + 1].filter((one) => one >= 0 && one < frames / each);
}

/** Those of the source that are wanted whole, each once, in order. */
export const wholeSources = (plan: TilePlan): number[] =>
  [...new Set(plan.whole.flatMap((frame) => sourcesOf(plan, frame)))].sort((a, b) => a - b);

interface LineRange {
  readonly from: number;
  readonly to: number;
}

/** What one frame says; `most` in parts of what is allowed. */
interface SeenWhole {
  readonly count: number;
  readonly most: number;
  readonly farthest: Omit<OffSample, 'count'> | null;
  readonly samples: number;
  readonly unknown: number;
  readonly limits: Limits;
}

export class WholeFrameComparer {
  readonly #request: CompareRequest;
  readonly #frames: Readonly<Record<WholeSide, Map<number, Buffer>>> = {
    source: new Map(),
    given: new Map(),
    untexted: new Map(),
  };
  /** Of which the comparison has begun, and has ended. */
  readonly #begun = new Set<number>();
  readonly #done = new Set<number>();
  #samples = 0;
  #worst = 0;
  #unknown = 0;
  #milliseconds = 0;
  readonly #off: OffSample[] = [];
  readonly #limits = noLimits();

  constructor(request: CompareRequest) {
    this.#request = request;
  }

  async read(side: WholeSide, stream: Readable): Promise<void> {
    const { plan, from, to } = this.#request;
    const numbers = side === 'source' ? wholeSources(plan) : plan.whole;
    const size = side === 'source' ? plan.source : plan.window;
    let next = 0;
    await readFrames(
      stream,
      bytesOf(side === 'source' ? from : to, size.width, size.height),
      async (frame) => {
        const number = numbers[next++];
        // More than were asked for are of no frame that is known.
        if (number === undefined) return;
        this.#frames[side].set(number, frame);
        await this.#advance();
      },
    );
  }

  /** All streams have ended. */
  verdict(): WholeVerdict {
    return {
      wanted: this.#request.plan.whole,
      frames: [...this.#done].sort((a, b) => a - b),
      samples: this.#samples,
      worst: this.#worst,
      off: this.#off,
      unknown: this.#unknown,
      limits: this.#limits,
      milliseconds: this.#milliseconds,
    };
  }

  async #advance(): Promise<void> {
    const { plan } = this.#request;
    const { source, given, untexted } = this.#frames;
    for (const frame of plan.whole) {
      const sources = sourcesOf(plan, frame);
      const ready =
        !this.#begun.has(frame) &&
        given.has(frame) &&
        (plan.covered.length === 0 || untexted.has(frame)) &&
        sources.every((one) => source.has(one));
      if (!ready) continue;
      this.#begun.add(frame);
      await this.#compare(frame);
      this.#done.add(frame);
      given.delete(frame);
      untexted.delete(frame);
      const later = new Set(
        plan.whole.filter((one) => !this.#done.has(one)).flatMap((one) => sourcesOf(plan, one)),
      );
      for (const one of sources) if (!later.has(one)) source.delete(one);
    }
  }

  #band(side: WholeSide, frame: number, lines: LineRange): SamplePlane[] | null {
    const { plan, from, to } = this.#request;
    const bytes = this.#frames[side].get(frame);
    if (bytes === undefined) return null;
    return side === 'source'
      ? bandOf(from, bytes, plan.source, lines)
      : bandOf(to, bytes, plan.window, lines);
  }

  /** Of the source, as the scaler is given it: fields are made into frames. */
  #shown(made: number, lines: LineRange, end: EndFrame | null): readonly SamplePlane[] {
    const { plan, from, earlier } = this.#request;
    const { frame, of } = fieldShown(made, plan.each, plan.frames);
    const now = this.#band('source', frame, lines) as SamplePlane[];
    if (earlier === null) return now;
    // Before the first frame and behind the last the deinterlacer takes that one again.
    const before = frame === 0 ? now : (this.#band('source', frame - 1, lines) as SamplePlane[]);
    const after = this.#band('source', frame + 1, lines) ?? now;
    return now.map((plane, component) => {
      const down = component > 0 && from.kind === 'yuv' ? from.down : 0;
      return deinterlaced({
        end,
        of,
        before: before[component] as SamplePlane,
        now: plane,
        after: after[component] as SamplePlane,
        earlier,
        firstLine: lines.from >> down,
        lines: -(-plan.source.height >> down),
        bits: from.bits,
      });
    });
  }

  async #compare(frame: number): Promise<void> {
    const seen: SeenWhole[] = [];
    const { plan, earlier } = this.#request;
    const { isAtEnd } = fieldShown(frame, plan.each, plan.frames);
    for (const end of waysMade(earlier !== null && isAtEnd)) seen.push(await this.#seen(frame, end));
    const { count, most, farthest, samples, unknown, limits } = seen.reduce((best, one) =>
      one.most < best.most ? one : best,
    );
    addLimits(this.#limits, limits);
    this.#samples += samples;
    this.#unknown += unknown;
    this.#worst = Math.max(this.#worst, most);
    if (count > 0 && farthest !== null) this.#off.push({ ...farthest, count });
  }

  async #seen(frame: number, end: EndFrame | null): Promise<SeenWhole> {
    const { plan, model, to } = this.#request;
    const limits = noLimits();
    let samples = 0;
    let unknown = 0;
    const { window, scaled, source, margin } = plan;
    let count = 0;
    let most = 0;
    let farthest: Omit<OffSample, 'count'> | null = null;
    for (let y = 0; y < window.height; y += BAND) {
      const started = performance.now();
      const below = Math.min(y + BAND, window.height);
      const inSource = (line: number): number => ((line + window.top) * source.height) / scaled.height;
      const lines = {
        from: Math.max(0, 4 * Math.floor((inSource(y) - margin.down) / 4)),
        to: Math.min(source.height, 4 * Math.ceil((inSource(below) + margin.down) / 4)),
      };
      const expected = model.expected(
        this.#shown(frame, lines, end),
        { source: { x: 0, y: lines.from }, made: { x: window.left, y: y + window.top } },
        { width: window.width, height: below - y },
        limits,
      );
      const found = this.#band('given', frame, { from: y, to: below }) as SamplePlane[];
      this.#withoutText(found, frame, { from: y, to: below });
      for (const [plane, wanted] of expected.entries()) {
        const { width, values } = found[plane] as SamplePlane;
        const allowed = model.allowed[plane as 0 | 1 | 2];
        for (let at = 0; at < values.length; at += 1) {
          const value = wanted.values[at] as number;
          const off = Math.abs((values[at] as number) - value);
          if (off <= allowed * most) continue;
          if (Number.isNaN(off)) {
            unknown += 1;
            continue;
          }
          most = off / allowed;
          farthest = {
            frame,
            plane: plane as 0 | 1 | 2,
            x: at % width,
            y: Math.floor(at / width) + (plane === 0 ? y : y >> to.down),
            found: values[at] as number,
            expected: value,
          };
        }
        if (most > 1)
          for (let at = 0; at < values.length; at += 1)
            if (Math.abs((values[at] as number) - (wanted.values[at] as number)) > allowed) count += 1;
        samples += values.length;
      }
      this.#milliseconds += performance.now() - started;
      // Leases are renewed, and the pipes of the others read.
      await breathe();
    }
    return { count, most, farthest, samples, unknown, limits };
  }

  /** Where text may stand, what was there before it. */
  #withoutText(found: SamplePlane[], frame: number, lines: LineRange): void {
    const { plan, to } = this.#request;
    const covered = plan.covered.filter(({ top, height }) => top < lines.to && top + height > lines.from);
    if (covered.length === 0) return;
    const before = this.#band('untexted', frame, lines) as SamplePlane[];
    for (const [plane, { values, width }] of found.entries())
      for (const part of covered) {
        const { left, right, top, bottom } = samplesUnder(part, to, plane > 0);
        const first = plane > 0 ? lines.from >> to.down : lines.from;
        const { values: bare, height } = before[plane] as SamplePlane;
        for (let line = Math.max(0, top - first); line < Math.min(height, bottom - first); line += 1)
          values.set(
            bare.subarray(line * width + left, line * width + Math.min(width, right)),
            line * width + left,
          );
      }
  }
}

function samplesUnder(
  { left, top, width, height }: Rectangle,
  { across, down }: PixelLayout,
  chroma: boolean,
): { left: number; right: number; top: number; bottom: number } {
  const [a, d] = chroma ? [across, down] : [0, 0];
  return {
    left: left >> a,
    right: -(-(left + width) >> a),
    top: top >> d,
    bottom: -(-(top + height) >> d),
  };
}
