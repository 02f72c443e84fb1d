/**
 * The encoder's input of every frame against the source, at the places of the tiles: raw tiles of both come from the decode as it goes on, and
 * only what differs is kept of them, and a digest of all.
 */
import { createHash } from 'node:crypto';
import type { Readable } from 'node:stream';
import { readFrames } from '../raw-frames.ts';
import { deinterlaced, type EndFrame, type FieldShown, fieldShown, waysMade } from './deinterlace.ts';
import { addLimits, limitedIn, type Limits, noLimits } from './passes.ts';
import { bytesOf, type SamplePlane, samplesOf } from './samples.ts';
import type { CompareRequest, OffSample } from './request.ts';
import { allowedMean, PlacingComparer, placingGrid, type PlacingVerdict } from './placing.ts';
import { placeOf, stackedSide, type Tile } from './tiles.ts';
import { WholeFrameComparer, type WholeVerdict } from './whole.ts';

export interface EncoderInputVerdict {
  /** Frames of which tiles came from both sides. */
  readonly frames: number;
  /** Samples compared; the fewest of any frame. */
  readonly samples: number;
  readonly fewest: number;
  /** Parts of what is allowed that the farthest sample is off. */
  readonly worst: number;
  readonly off: readonly OffSample[];
  /** Codes that are allowed: Y', and Cb and Cr. */
  readonly allowed: readonly [number, number, number];
  /** Of what was computed for the tiles. */
  readonly limits: Limits;
  readonly whole: WholeVerdict;
  /** null: the picture is too small for means. */
  readonly placing: PlacingVerdict | null;
  /** SHA-256 of the tiles of each side, in order: what was seen can be told later by whoever has the clip. */
  readonly digests: { readonly source: string; readonly given: string };
}

/** What the tiles of one frame say. */
interface SeenFrame {
  readonly samples: number;
  /** Samples that are off, and the farthest; `most` in parts of what is allowed. */
  readonly count: number;
  readonly most: number;
  readonly farthest: Omit<OffSample, 'count'> | null;
  readonly limits: Limits;
}

export class EncoderInputComparer {
  readonly #request: CompareRequest;
  readonly #source = new Map<number, Buffer>();
  readonly #given = new Map<number, Buffer>();
  readonly #digests = { source: createHash('sha256'), given: createHash('sha256') };
  #sourceFrames = 0;
  #givenFrames = 0;
  #done = 0;
  #samples = 0;
  #fewest = Number.POSITIVE_INFINITY;
  #worst = 0;
  readonly #off: OffSample[] = [];
  readonly #limits = noLimits();
  /** By frame, the share of its tiles' samples that had to be limited. */
  readonly #limited = new Map<number, number>();
  readonly whole: WholeFrameComparer;
  /** null: the picture is too small for means. */
  readonly placing: PlacingComparer | null;

  constructor(request: CompareRequest) {
    this.#request = request;
    this.whole = new WholeFrameComparer(request);
    const { plan, model, to } = request;
    const grid = placingGrid(plan);
    this.placing =
      grid === null
        ? null
        : new PlacingComparer({
            plan,
            grid,
            planes: plan.lumaOf,
            luma: (colour) => model.luma(colour),
            allowed: allowedMean(plan, grid, { keepsLevel: model.keepsLevel, bits: to.bits }),
            limited: (frame) => {
              const own = this.#limited.get(frame) ?? null;
              const other = request.limitedToo === undefined ? 0 : request.limitedToo(frame);
              return own === null || other === null ? null : Math.max(own, other);
            },
          });
  }

  readSource(stream: Readable): Promise<void> {
    const { plan, from } = this.#request;
    return readFrames(
      stream,
      bytesOf(from, stackedSide(plan.cut.width), stackedSide(plan.cut.height) * plan.tiles.length),
      (frame) => {
        this.#digests.source.update(frame);
        this.#source.set(this.#sourceFrames++, frame);
        this.#advance(false);
      },
    );
  }

  readGiven(stream: Readable): Promise<void> {
    const { plan, to } = this.#request;
    return readFrames(
      stream,
      bytesOf(to, stackedSide(plan.given.width), stackedSide(plan.given.height) * plan.tiles.length),
      (frame) => {
        this.#digests.given.update(frame);
        this.#given.set(this.#givenFrames++, frame);
        this.#advance(false);
      },
    );
  }

  /** Both streams have ended. */
  verdict(): EncoderInputVerdict {
    this.#advance(true);
    return {
      frames: this.#done,
      samples: this.#samples,
      fewest: this.#done === 0 ? 0 : this.#fewest,
      worst: this.#worst,
      off: this.#off,
      allowed: this.#request.model.allowed,
      limits: this.#limits,
      whole: this.whole.verdict(),
      placing: this.placing?.verdict() ?? null,
      digests: { source: this.#digests.source.digest('hex'), given: this.#digests.given.digest('hex') },
    };
  }

  #advance(ended: boolean): void {
    const { earlier } = this.#request;
    for (;;) {
      const frame = this.#done;
      const { frame: source } = this.#fieldShown(frame);
      const next = earlier !== null && !ended && !this.#source.has(source + 1);
      if (!this.#source.has(source) || !this.#given.has(frame) || next) return;
      this.#compare(frame);
      this.#source.delete(this.#fieldShown(frame + 1).frame - 2);
      if (earlier === null) this.#source.delete(source);
      this.#given.delete(frame);
      this.#done += 1;
      this.placing?.advance(false);
    }
  }

  #fieldShown(frame: number): FieldShown {
    const { plan, frames } = this.#request;
    return fieldShown(frame, plan.each, frames);
  }

  #tile(side: 'source' | 'given', frame: number, index: number): SamplePlane[] | null {
    const { plan, from, to } = this.#request;
    const bytes = (side === 'source' ? this.#source : this.#given).get(frame);
    if (bytes === undefined) return null;
    const { width, height } = side === 'source' ? plan.cut : plan.given;
    return samplesOf(side === 'source' ? from : to, bytes, {
      width: stackedSide(width),
      height: stackedSide(height),
      kept: { width, height },
      count: plan.tiles.length,
      index,
    });
  }

  /** Of fields: null where the place was another one in a frame that they are made of. */
  #shown(tile: Tile, index: number, made: number, end: EndFrame | null): SamplePlane[] | null {
    const { plan, from, earlier } = this.#request;
    const { frame, of } = this.#fieldShown(made);
    const now = this.#tile('source', frame, index);
    if (now === null || earlier === null) return now;
    const { source } = placeOf(plan, tile, frame);
    const same = (other: number): boolean => {
      const place = placeOf(plan, tile, other).source;
      return place.x === source.x && place.y === source.y;
    };
    // Before the first frame and behind the last the deinterlacer takes that one again.
    const before = frame === 0 ? now : this.#tile('source', frame - 1, index);
    const after = this.#tile('source', frame + 1, index) ?? now;
    if (before === null || (frame > 0 && !same(frame - 1))) return null;
    if (after !== now && !same(frame + 1)) return null;
    return now.map((plane, component) => {
      const down = component > 0 && from.kind === 'yuv' ? from.down : 0;
      return deinterlaced({
        end,
        of,
        before: before[component] as SamplePlane,
        now: plane,
        after: after[component] as SamplePlane,
        earlier,
        firstLine: source.y >> down,
        lines: -(-plan.source.height >> down),
        bits: from.bits,
      });
    });
  }

  #compare(frame: number): void {
    const seen = waysMade(this.#request.earlier !== null && this.#fieldShown(frame).isAtEnd)
      .map((end) => this.#seen(frame, end))
      .reduce((best, one) => (one.most < best.most ? one : best));
    const { samples, count, most, farthest, limits } = seen;
    addLimits(this.#limits, limits);
    this.#samples += samples;
    this.#limited.set(frame, limitedIn(limits) / Math.max(1, samples));
    this.#fewest = Math.min(this.#fewest, samples);
    this.#worst = Math.max(this.#worst, most);
    if (count > 0 && farthest !== null) this.#off.push({ ...farthest, count });
  }

  #seen(frame: number, end: EndFrame | null): SeenFrame {
    const { plan, to, model } = this.#request;
    const limits = noLimits();
    let samples = 0;
    let count = 0;
    let farthest: Omit<OffSample, 'count'> | null = null;
    let most = 0;
    for (const [index, tile] of plan.tiles.entries()) {
      const shown = this.#shown(tile, index, frame, end);
      const given = this.#tile('given', frame, index);
      if (shown === null || given === null) continue;
      const place = placeOf(plan, tile, this.#fieldShown(frame).frame);
      const made = { x: place.given.x + plan.window.left, y: place.given.y + plan.window.top };
      for (const [plane, wanted] of model
        .expected(shown, { source: place.source, made }, plan.given, limits)
        .entries()) {
        const found = given[plane] as SamplePlane;
        const allowed = model.allowed[plane as 0 | 1 | 2];
        for (let at = 0; at < found.values.length; at += 1) {
          const expected = wanted.values[at] as number;
          if (Number.isNaN(expected)) continue;
          samples += 1;
          const off = Math.abs((found.values[at] as number) - expected) / allowed;
          if (off > 1) count += 1;
          if (off <= most) continue;
          most = off;
          farthest = {
            frame,
            plane: plane as 0 | 1 | 2,
            x: (plane === 0 ? place.given.x : place.given.x >> to.across) + (at % found.width),
            y: (plane === 0 ? place.given.y : place.given.y >> to.down) + Math.floor(at / found.width),
            found: found.values[at] as number,
            expected,
          };
        }
      }
    }
    return { samples, count, most, farthest, limits };
  }
}
