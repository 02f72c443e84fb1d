/**
 * Frames to masters: a few threads, each of which takes one frame from its code values to its files. No more frames are in
 * flight than there are threads and one to be filled meanwhile, whatever the clip's length: a source that is faster waits.
 * Pictures for encoders are handed on in their order; one that is not taken yet counts as in flight, so that a slow encoder
 * is waited for as well.
 */
import type { Readable } from 'node:stream';
import { programFile } from '../../files/installation.ts';
import { createThreadPool } from '../../process/threads.ts';
import type { FramePipe } from '../../process/frame-pipe.ts';
import { CELLS, COLOUR_CELLS, type FrameFingerprints } from '../../proof/form.ts';
import { POINTS } from '../../proof/pixel-samples.ts';
import type { Linearisation } from '../../profiles/master/linearisation.ts';
import type { Limited, SceneLinearRange } from '../../proof/value-range.ts';
import type { WholeCodes } from '../../proof/whole-codes.ts';
import { headOf } from './attributes.ts';
import type { EncoderInputFrame, FrameAnswer, FrameOrder, FramePoolSetup, WrittenFrame } from './orders.ts';

export interface FrameResults {
  /** By frame, as in the pixel samples. */
  readonly values: Float32Array;
  /** By output and frame. */
  readonly written: readonly (readonly WrittenFrame[])[];
  /** Of what encoders were fed with, by feed. */
  readonly encoderInputs: readonly CollectedEncoderInput[];
  /** Averages of what the threads read, as fingerprints; null: not asked for. */
  readonly read: FrameFingerprints | null;
  readonly invalid: number;
  /** By channel, those that have any. */
  readonly special: readonly SpecialChannel[];
  /** By frame. */
  readonly ranges: readonly SceneLinearRange[];
}

/** NaN and infinities of one channel of the source, over all frames. */
export interface SpecialChannel {
  readonly channel: string;
  readonly nans: number;
  readonly infinities: number;
  /** Of the clip, counted from 0. */
  readonly firstFrame: number;
}

export interface CollectedEncoderInput {
  /** null: ffmpeg takes them of what it is fed with. */
  readonly picture: FrameFingerprints | null;
  /** Codes by frame and point. */
  readonly points: Uint16Array;
  readonly spots: readonly { readonly frame: number; readonly codes: Uint16Array }[];
  /** Of frames that have spots: every sample. */
  readonly whole: readonly { readonly frame: number; readonly codes: WholeCodes }[];
  /** By frame, SHA-256 of the picture that was handed over. */
  readonly sha256: readonly string[];
  /** By frame. */
  readonly limited: readonly Limited[];
}

/** Takes pictures in their order, one at a time. */
export type Feed = (picture: Uint8Array) => Promise<void>;

export interface FramePool {
  /** Reads frames of `frameBytes` from a stream until it ends. Rejects with what the first frame failed of. */
  read(stream: Readable, frameBytes: number): Promise<void>;
  /** Frames that the threads themselves read from a pipe until it ends. Rejects as `read` does. */
  readPipe(pipe: Pick<FramePipe, 'share' | 'end'>): Promise<void>;
  /** Raw frames, read by the threads themselves. */
  take(frames: number, signal: AbortSignal): Promise<void>;
  /** Frames that are finished, from the first on, without a gap. */
  readonly frames: number;
  results(): FrameResults;
  close(): Promise<void>;
}

/** What is kept of an answer: the picture itself went to the encoders. */
type Kept = Omit<FrameAnswer, 'encoderInputs'> & {
  readonly encoderInputs: readonly Omit<EncoderInputFrame, 'bytes'>[];
};

export function startFramePool(
  setup: FramePoolSetup,
  threads: number,
  onFrame: (finished: number) => void,
  /** In the order of the setup's. */
  feeds: readonly Feed[] = [],
): FramePool {
  const pool = createThreadPool<FramePoolSetup, FrameOrder, FrameAnswer | null>(
    programFile('worker/master/thread.js'),
    threads,
    setup,
  );
  const answers: (Kept | undefined)[] = [];
  let finished = 0;
  let failure: { readonly error: unknown } | null = null;
  /** A pipe said so. */
  let ended = false;
  const running = new Set<Promise<void>>();
  /** Completion when every order before the next one is done; it never rejects. Orders are given in the order of the frames. */
  let before: Promise<void> = Promise.resolve();

  /** Null: a frame before it failed, and what follows must not be handed on in its place. */
  async function handedOn(
    { encoderInputs, ...answer }: FrameAnswer,
    earlier: Promise<void>,
  ): Promise<Kept | null> {
    if (encoderInputs.length === 0) return { ...answer, encoderInputs };
    await earlier;
    if (failure !== null) return null;
    await Promise.all(encoderInputs.map(({ bytes }, at) => feeds[at]?.(bytes)));
    return { ...answer, encoderInputs: encoderInputs.map(({ bytes: _, ...kept }) => kept) };
  }

  function order(index: number, from: FrameOrder['from'], done: () => void = () => undefined): void {
    const earlier = before;
    const work: Promise<void> = pool
      .run({ index, heads: setup.outputs.map(({ outcome }) => headOf(outcome, index)), from })
      .then((answer) => {
        if (answer !== null) return handedOn(answer, earlier);
        ended = true;
        return null;
      })
      .then(
        (answer) => {
          if (answer === null) return;
          answers[index] = answer;
          while (answers[finished] !== undefined) finished += 1;
          onFrame(finished);
        },
        (error: unknown) => {
          failure ??= { error };
        },
      )
      .finally(() => {
        running.delete(work);
        done();
      });
    running.add(work);
    before = work;
  }

  const check = (): void => {
    if (failure !== null) throw failure.error;
  };
  const atMost = async (count: number): Promise<void> => {
    while (running.size > count) await Promise.race(running);
    check();
  };

  return {
    get frames() {
      return finished;
    },
    async read(stream, frameBytes) {
      const free: SharedArrayBuffer[] = [];
      let made = 0;
      let next = 0;
      let buffer: SharedArrayBuffer | null = null;
      let filled = 0;
      for await (const part of stream) {
        let chunk = part as Buffer;
        while (chunk.length > 0) {
          if (buffer === null) {
            // As many as there are threads, and the one that is being filled.
            while (free.length === 0 && made > threads) await atMost(running.size - 1);
            check();
            buffer = free.pop() ?? null;
            if (buffer === null) {
              buffer = new SharedArrayBuffer(frameBytes);
              made += 1;
            }
          }
          const count = Math.min(chunk.length, frameBytes - filled);
          new Uint8Array(buffer).set(chunk.subarray(0, count), filled);
          filled += count;
          chunk = chunk.subarray(count);
          if (filled < frameBytes) continue;
          const whole = buffer;
          order(next, whole, () => free.push(whole));
          next += 1;
          buffer = null;
          filled = 0;
        }
      }
      // A part of a frame at the end is no frame: that one is missing, the count shows.
      await atMost(0);
    },
    async readPipe({ share, end }) {
      try {
        for (let index = 0; ; index += 1) {
          await atMost(threads - 1);
          if (ended) break;
          order(index, share);
        }
        await atMost(0);
      } finally {
        end();
      }
    },
    async take(frames, signal) {
      for (let index = 0; index < frames; index += 1) {
        signal.throwIfAborted();
        await atMost(threads - 1);
        order(index, null);
      }
      await atMost(0);
    },
    results() {
      const values = new Float32Array(finished * POINTS * 3);
      let invalid = 0;
      const written: WrittenFrame[][] = setup.outputs.map(() => []);
      for (const answer of answers.slice(0, finished) as Kept[]) {
        values.set(answer.points, answer.index * POINTS * 3);
        invalid += answer.invalid;
        for (const [output, file] of answer.written.entries()) written[output]?.push(file);
      }
      return {
        values,
        written,
        encoderInputs: setup.feeds.map((_, feed) => feedOf(answers.slice(0, finished) as Kept[], feed)),
        read: setup.compareReading ? readOf(answers.slice(0, finished) as Kept[]) : null,
        invalid,
        special: specialOf(answers.slice(0, finished) as Kept[], setup.linearisation),
        ranges: (answers.slice(0, finished) as Kept[]).map(({ range }) => range),
      };
    },
    close: () => pool.close(),
  };
}

function specialOf(answers: readonly Kept[], linearisation: Linearisation): SpecialChannel[] {
  const grey = linearisation.kind === 'coded' && linearisation.pixelFormat.startsWith('gray');
  return (grey ? ['Y'] : ['R', 'G', 'B']).flatMap((channel, place) => {
    let [nans, infinities] = [0, 0];
    let firstFrame: number | null = null;
    for (const { index, special } of answers) {
      const [here, beyond] = [special?.nans[place] ?? 0, special?.infinities[place] ?? 0];
      nans += here;
      infinities += beyond;
      if (here + beyond > 0) firstFrame ??= index;
    }
    return firstFrame === null ? [] : [{ channel, nans, infinities, firstFrame }];
  });
}

function readOf(answers: readonly Kept[]): FrameFingerprints {
  const frames = answers.length;
  const luma = new Uint16Array(frames * CELLS);
  const colours: Uint16Array[] = [];
  for (const { index, read } of answers) {
    if (read === null) throw new RangeError(`of frame ${index} nobody says what was read`);
    luma.set(read.luma, index * CELLS);
    if (read.colour !== null) colours.push(read.colour);
  }
  const colour = new Uint16Array(colours.length * 2 * COLOUR_CELLS);
  for (const [place, one] of colours.entries()) colour.set(one, place * 2 * COLOUR_CELLS);
  return { frames, views: 1, luma, colour: colours.length === 0 ? null : colour };
}

function feedOf(answers: readonly Kept[], feed: number): CollectedEncoderInput {
  const frames = answers.length;
  const luma = new Uint16Array(frames * CELLS);
  const colour = new Uint16Array(frames * 2 * COLOUR_CELLS);
  const points = new Uint16Array(frames * POINTS * 3);
  const spots: { frame: number; codes: Uint16Array }[] = [];
  const whole: { frame: number; codes: WholeCodes }[] = [];
  const sha256: string[] = [];
  const limited: Limited[] = [];
  let averaged = 0;
  for (const { index, encoderInputs } of answers) {
    const encoderInput = encoderInputs[feed];
    if (encoderInput === undefined) throw new RangeError(`frame ${index} fed nobody`);
    if (encoderInput.averages !== null) {
      luma.set(encoderInput.averages.luma, index * CELLS);
      colour.set(encoderInput.averages.colour, index * 2 * COLOUR_CELLS);
      averaged += 1;
    }
    points.set(encoderInput.points, index * POINTS * 3);
    sha256[index] = encoderInput.sha256;
    limited[index] = encoderInput.limited;
    if (encoderInput.whole !== null) whole.push({ frame: index, codes: encoderInput.whole });
    if (encoderInput.spots !== null) spots.push({ frame: index, codes: encoderInput.spots });
  }
  const picture: FrameFingerprints | null = averaged < frames ? null : { frames, views: 1, luma, colour };
  return { picture, points, spots, whole, sha256, limited };
}
