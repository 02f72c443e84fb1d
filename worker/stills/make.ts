/**
 * Makes the picture of a still: by the filters of a proxy for a display of standard range, then coded for sRGB, then made smaller. Of each still one frame is
 * decoded, or developed, and no more.
 */
import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { programFile } from '../../files/installation.ts';
import type { Job } from '../../ledger/job.ts';
import { readTransform } from '../../ledger/transform.ts';
import { decode, encode } from '../../media/colour/curves.ts';
import { SCALED_END } from '../../media/colour/shown/table.ts';
import { isRgb } from '../../media/pixel-format.ts';
import { uprightChains, uprightFacts } from '../../media/upright.ts';
import { FIRST_PIPE, runTool } from '../../process/run.ts';
import { createThreadPool, type ThreadPool } from '../../process/threads.ts';
import { matrixForScaler } from '../../profiles/ffmpeg-names.ts';
import { graphValue } from '../../profiles/recipe/escape.ts';
import { chromaLocationForScaler, levelsBeforeScaler } from '../../profiles/recipe/levels.ts';
import { framesOfFields, SCALE_FLAGS } from '../../profiles/recipe/picture.ts';
import { recordedRgb, type TablePaths, throughTable } from '../../profiles/recipe/shown.ts';
import { SHOWN_PIXELS } from '../../profiles/shown/decide.ts';
import type { ShownDeveloped } from '../../profiles/shown/schema.ts';
import type { StillsOutcome } from '../../profiles/stills/schema.ts';
import { codesIn } from '../../proof/raw-frames.ts';
import { bakedWay } from '../colour-way.ts';
import type { MakingContext } from '../context.ts';
import { declaredPictures } from '../master/declared.ts';
import { ownReading } from '../master/making.ts';
import type { FrameAnswer, FrameOrder, FramePoolSetup } from '../master/orders.ts';
import { decodedFrame } from '../master/spots.ts';
import { openAtFrame } from '../spot-frames.ts';
import { framesAhead } from './frames-ahead.ts';
import type { OneFrame } from './one-frame.ts';

/** The greatest code of 14 bits. */
const MOST = 2 ** 14 - 1;

/** R, G, B by pixel of `bits` bits, 16 with the high byte first, as PNG has them. */
export type StillPicture = { readonly samples: Buffer } | { readonly why: string };

export interface StillMaker {
  /** `at`: which of the outcome's stills. Throws the signal's reason, and what reading a frame throws. */
  make(at: number): Promise<StillPicture>;
  close(): Promise<void>;
}

/** Codes of 14 bits of the display to those of sRGB; the filter cuts fractions off: half a code more is what it gives whole. */
function srgbCurve(curve: 'bt1886' | 'srgb', white: number): string {
  const lines = Array.from({ length: MOST + 1 }, (_, code) => {
    const value = Math.min(code / white, 1);
    const coded = curve === 'srgb' ? value : encode({ name: 'srgb' }, decode({ name: 'bt1886' }, value));
    const whole = Math.min((coded * MOST + 0.5) / MOST, 1).toFixed(7);
    return `${whole} ${whole} ${whole}`;
  });
  return `LUT_1D_SIZE ${lines.length}\n${lines.join('\n')}\n`;
}

/** From the decoded picture to R'G'B' of 14 bits, as a proxy of it goes. */
function rgbOfRecorded(facts: Job['facts'], { recorded }: StillsOutcome): string[] {
  if (recorded === null) throw new RangeError('a still of recorded codes that go a colour way');
  const { pixelFormat } = facts.video;
  const { matrix, range, siting } = recorded;
  const before = levelsBeforeScaler(
    pixelFormat,
    { matrix: matrix ?? 'bt709', range },
    { matrix: matrix ?? 'bt709', range: 'limited' },
  );
  const taken = isRgb(pixelFormat)
    ? `in_range=${before.range}`
    : `in_color_matrix=${matrixForScaler(matrix ?? 'bt709')}:in_range=${before.range}`;
  const chroma = chromaLocationForScaler('in', pixelFormat, siting ?? undefined).map((item) => `:${item}`);
  return [
    ...before.filters,
    `scale=flags=${SCALE_FLAGS}:${taken}${chroma.join('')}`,
    `format=${SHOWN_PIXELS}`,
  ];
}

/** To the still: planes G, B, R, words of 14 bits. */
function reduced({ width, height, reduce }: StillsOutcome): string[] {
  return [
    // The scaler passes planes as they are when it takes them for Y'CbCr.
    'mergeplanes=mapping=0x000102:format=yuv444p14le',
    `crop=w=${reduce.width}:h=${reduce.height}:x=${reduce.left}:y=${reduce.top}:exact=1`,
    ...(reduce.width === width && reduce.height === height
      ? []
      : [`scale=w=${width}:h=${height}:flags=area+accurate_rnd+bitexact:in_range=limited:out_range=limited`]),
    'format=yuv444p14le',
  ];
}

function samplesOf(planes: Buffer, { width, height, bits }: StillsOutcome): Buffer {
  const count = width * height;
  const most = 2 ** bits - 1;
  const codes = codesIn(planes);
  const values = Uint16Array.from({ length: MOST + 1 }, (_, code) => Math.round((code * most) / MOST));
  const samples = Buffer.allocUnsafe((3 * count * bits) / 8);
  for (const [channel, plane] of [2, 0, 1].entries())
    for (let pixel = 0; pixel < count; pixel += 1) {
      const value = values[Math.min(codes[plane * count + pixel] as number, MOST)] as number;
      if (bits === 8) samples[3 * pixel + channel] = value;
      else samples.writeUInt16BE(value, 2 * (3 * pixel + channel));
    }
  return samples;
}

export async function stillMaker(
  job: Job,
  outcome: StillsOutcome,
  context: MakingContext,
): Promise<StillMaker> {
  const folder = await mkdtemp(join(tmpdir(), 'rushlight-stills-'));
  const removeFolder = (): Promise<void> => rm(folder, { recursive: true, force: true });
  try {
    const { shown, recorded } = outcome;
    const curve = join(folder, 'srgb.cube');
    await writeFile(curve, srgbCurve(recorded?.curve ?? 'bt1886', shown === null ? MOST / SCALED_END : MOST));
    const table: TablePaths = { spread: join(folder, 'spread.cube'), space: join(folder, 'space.cube') };
    if (shown !== null) {
      const { files } = await bakedWay(job.deliveryFolder, shown);
      await writeFile(table.spread, files.spread);
      await writeFile(table.space, files.space);
    }
    const tail = [`lut1d=file=${graphValue(curve)}:interp=linear`, ...reduced(outcome)];
    const bytes = 6 * outcome.width * outcome.height;
    const finished = (found: OneFrame): StillPicture =>
      'why' in found ? found : { samples: samplesOf(found.picture, outcome) };
    if (shown?.from === 'developed') {
      const developer = await startDeveloper(job, outcome, shown, context);
      return {
        make: async (at) => {
          const picture = await developer.develop(at);
          if (picture === null) return { why: 'the decoder gave no such frame' };
          const graph = ['[0:v]', [throughTable(table), ...tail].join(','), '[out]'].join('');
          return finished(await through({ picture, graph, bytes, size: shown.size, context }));
        },
        close: async () => {
          await developer.close();
          await removeFolder();
        },
      };
    }
    const facts = uprightFacts(job.facts);
    const toRgb =
      shown === null ? rgbOfRecorded(facts, outcome) : [...recordedRgb(facts, shown), throughTable(table)];
    const graph = [
      ...uprightChains(job.facts.video, 'in', 'upright'),
      // Of the first frame, which this one is here, the deinterlacer takes the earlier field alone; it gives one when it has the next.
      `[upright]${[...(outcome.fields === null ? [] : ['trim=end_frame=1', 'tpad=stop_mode=clone:stop=1', ...framesOfFields(facts)]), ...toRgb, ...tail].join(',')}[out]`,
    ].join(';');
    const frames = outcome.stills.map(({ frame }) => frame);
    const ahead = framesAhead({ job, frames, graph, bytes, ...context });
    return {
      make: async (at) => {
        const still = outcome.stills[at];
        if (still === undefined) throw new RangeError(`still ${at} of ${outcome.stills.length}`);
        return finished(await ahead.take(still.frame));
      },
      close: removeFolder,
    };
  } catch (error) {
    await removeFolder();
    throw error;
  }
}

interface Through {
  /** R'G'B' of ACEScct, planes G, B, R. */
  readonly picture: Uint8Array;
  readonly graph: string;
  /** Of the picture that comes out. */
  readonly bytes: number;
  readonly size: ShownDeveloped['size'];
  readonly context: MakingContext;
}

async function through({ picture, graph, bytes, size, context }: Through): Promise<OneFrame> {
  const out = Buffer.allocUnsafe(bytes);
  let length = 0;
  const run = await runTool(
    context.tools.ffmpeg.path,
    [
      ...['-hide_banner', '-nostdin', '-nostats', '-loglevel', 'error', '-protocol_whitelist', 'pipe'],
      ...['-f', 'rawvideo', '-pixel_format', SHOWN_PIXELS, '-video_size', `${size.width}x${size.height}`],
      ...['-i', `pipe:${FIRST_PIPE + 1}`, '-filter_complex', graph, '-map', '[out]', '-frames:v', '1'],
      ...['-fps_mode', 'passthrough', '-c:v', 'rawvideo', '-f', 'rawvideo', `pipe:${FIRST_PIPE}`],
    ],
    {
      signal: context.signal,
      stallMilliseconds: context.stallMilliseconds,
      feed: async (write) => void (await write(picture)),
      pipes: [
        async (stream) => {
          for await (const part of stream) {
            const chunk = part as Buffer;
            if (length < bytes) chunk.copy(out, length);
            length += chunk.length;
          }
        },
      ],
    },
  );
  context.signal.throwIfAborted();
  return run.reason === 'exited' && run.exitCode === 0 && length === bytes
    ? { picture: out }
    : {
        why: `${length} bytes of a picture of ${bytes}; ${run.startError ?? run.stderr.trim().split('\n').at(-1) ?? run.reason}`,
      };
}

interface Developer {
  /** R'G'B' of ACEScct of 14 bits; null: there is no such frame. */
  develop(at: number): Promise<Uint8Array | null>;
  close(): Promise<void>;
}

/** By the threads that develop frames for movies; each frame alone. */
async function startDeveloper(
  job: Job,
  { stills }: StillsOutcome,
  { linearisation, size }: ShownDeveloped,
  { tools, signal }: MakingContext,
): Promise<Developer> {
  const setup: FramePoolSetup = {
    linearisation,
    ...size,
    outputs: [],
    feeds: [{ kind: 'rgb14', spots: [] }],
    compareReading: false,
    transform: await readTransform(job.deliveryFolder, linearisation),
    ...ownReading(job),
  };
  const isHandedOver = setup.raw === null && setup.files === null;
  const frames = stills.map(({ frame }) => frame);
  const declared = job.facts.declared === undefined ? null : await declaredPictures(job, frames, signal);
  const spotted = { linearisation, ...size, frames: job.facts.video.frames };
  const pool: ThreadPool<FrameOrder, FrameAnswer | null> = createThreadPool<
    FramePoolSetup,
    FrameOrder,
    FrameAnswer | null
  >(programFile('worker/master/thread.js'), 1, setup);
  return {
    develop: async (at) => {
      const frame = frames[at] as number;
      signal.throwIfAborted();
      let from: SharedArrayBuffer | null = null;
      if (isHandedOver) {
        const bytes =
          declared === null
            ? await decodedFrame(
                { job, outcome: spotted, tools, signal },
                size,
                await openAtFrame(job, frame),
              )
            : (declared.get(frame) ?? null);
        if (bytes === null) return null;
        from = new SharedArrayBuffer(bytes.length);
        new Uint8Array(from).set(bytes);
      }
      const answer = await pool.run({ index: frame, heads: [], from });
      return answer?.encoderInputs[0]?.bytes ?? null;
    },
    close: () => pool.close(),
  };
}
