/**
 * What some pixels of a few frames must be, found again by other means than the master's: the source is opened and decoded
 * once more, frame by frame, and goes its way in double precision through the references of the kernels.
 */
import { dirname } from 'node:path';
import { programFile } from '../../files/installation.ts';
import type { ToSceneLinear } from '../../check/master/scene-linear.ts';
import type { Job } from '../../ledger/job.ts';
import { jointsOf, type OpenedInput, openInput } from '../../media/input.ts';
import { exrPixels, unplaced } from './exr-spot.ts';
import { codedPlace } from '../../check/orientation.ts';
import { orientationOfClip } from '../clip-orientation.ts';
import { layoutOf } from '../../media/colour/formats.ts';
import { earlierField } from '../../media/facts.ts';
import type { Triple } from '../../media/colour/matrix.ts';
import { AS_CODED, isUpright, turnOf, uprightChains } from '../../media/upright.ts';
import { isSiting } from '../../media/colour/siting.ts';
import { codeRgbAt } from '../../media/colour/pixel.ts';
import type { MediaTools } from '../../process/locate.ts';
import { createThreadPool } from '../../process/threads.ts';
import { FIRST_PIPE, runTool } from '../../process/run.ts';
import { POINTS, pointsOf, type Spot } from '../../proof/pixel-samples.ts';
import { framesBeside, leadFilter, masterSpotFrames, openAtFrame } from '../spot-frames.ts';
import { framesBefore } from '../stretch.ts';
import { declaredPictures } from './declared.ts';
import { sourcePicture } from './source-picture.ts';
import type { Spotted } from './raw-spot.ts';
import { spotPixels } from './spot-pixels.ts';
import { wholeOfFields } from './whole-of-fields.ts';
import type { SpotOrder, SpotSetup } from './spot-thread.ts';

const STALL_MILLISECONDS = 120_000;
/** A copy of one frame (exr-spot.ts). */
const ONE_FRAME = { prefix: 'frame', suffix: '.exr', padding: 0, first: 0, count: 1 };

export interface SpotRequest {
  readonly job: Job;
  readonly outcome: Spotted;
  readonly sceneLinear: ToSceneLinear;
  /** Of the pixel samples. */
  readonly values: Float32Array;
  readonly tools: Pick<MediaTools, 'ffmpeg'>;
  readonly signal: AbortSignal;
  /** Of which frames; absent: those of a master. */
  readonly of?: readonly number[];
}

/** null: the decoder gave no such frame alone (not every file can be entered in its middle). */
export async function decodedFrame(
  request: Pick<SpotRequest, 'job' | 'outcome' | 'tools' | 'signal'>,
  size: { readonly width: number; readonly height: number },
  input: OpenedInput & { readonly lead?: number },
  lies: 'upright' | 'as-coded' = 'upright',
): Promise<Buffer | null> {
  return await decodedFrames(request, size, input, { lies, count: 1 });
}

/** Several, one behind the other; null: as many did not come. */
export async function decodedFrames(
  {
    job,
    outcome: { linearisation },
    tools,
    signal,
  }: Pick<SpotRequest, 'job' | 'outcome' | 'tools' | 'signal'>,
  { width, height }: { readonly width: number; readonly height: number },
  input: OpenedInput & { readonly lead?: number },
  { lies, count }: { readonly lies: 'upright' | 'as-coded'; readonly count: number },
): Promise<Buffer | null> {
  if (linearisation.kind !== 'coded') throw new RangeError('a coded spot of a raw clip');
  const { video } = job.facts;
  const { bytes: oneFrame } =
    lies === 'upright'
      ? layoutOf(linearisation.pixelFormat, width, height)
      : layoutOf(video.pixelFormat, video.width, video.height);
  const frameBytes = count * oneFrame;
  const lead = `${leadFilter(input.lead ?? 0)}null`;
  const graph =
    lies === 'upright' && !isUpright(turnOf(video))
      ? [
          ...[
            '-filter_complex',
            [`[0:${video.streamIndex}]${lead}[coded]`, ...uprightChains(video, 'coded', 'out')].join(';'),
          ],
          ...['-map', '[out]'],
        ]
      : [
          ...['-map', `0:${video.streamIndex}`],
          ...(input.lead === undefined || input.lead === 0 ? [] : ['-vf', lead]),
        ];
  // Filled as it comes: putting the parts of a large frame together at the end would block the loop.
  const bytes = Buffer.allocUnsafe(frameBytes);
  let length = 0;
  try {
    await runTool(
      tools.ffmpeg.path,
      [
        '-hide_banner',
        '-nostdin',
        '-nostats',
        '-loglevel',
        'error',
        '-noauto_conversion_filters',
        ...AS_CODED,
        ...input.args,
        ...graph,
        '-frames:v',
        String(count),
        '-fps_mode',
        'passthrough',
        '-c:v',
        'rawvideo',
        '-f',
        'rawvideo',
        `pipe:${FIRST_PIPE}`,
      ],
      {
        signal,
        stallMilliseconds: STALL_MILLISECONDS,
        pipes: [
          async (stream) => {
            for await (const part of stream) {
              const chunk = part as Buffer;
              // More than a frame has is counted, and not kept.
              if (length < frameBytes) chunk.copy(bytes, length);
              length += chunk.length;
            }
          },
        ],
      },
    );
  } finally {
    await input.dispose();
  }
  signal.throwIfAborted();
  return length === frameBytes ? bytes : null;
}

/** R, G, B of OpenEXR at the pixels of the spots, placed by the checker; null: ffmpeg is to place them, having nothing to place. */
async function exrValues(request: SpotRequest, frame: number): Promise<Float32Array | null> {
  const {
    job,
    outcome: { linearisation, width, height },
  } = request;
  if (linearisation.kind !== 'coded' || job.facts.exr === undefined) return null;
  const pixels = spotPixels(width, height);
  const own = await exrPixels(job, frame, pixels);
  if (own !== null) return own;
  const copy = await unplaced(job, frame);
  if (copy === null) return null;
  try {
    const input = await openInput(
      dirname(copy.path),
      { kind: 'sequence', folder: '', ...ONE_FRAME, statedRate: job.facts.video.rate },
      job.facts.video.rate,
    );
    const bytes = await decodedFrame(request, copy, input);
    if (bytes === null) return null;
    const source = sourcePicture(linearisation, copy.width, copy.height);
    return Float32Array.from(
      pixels.flatMap(({ x, y }) => {
        const [column, row] = [x - copy.left, y - copy.top];
        const inside = column >= 0 && row >= 0 && column < copy.width && row < copy.height;
        return inside ? codeRgbAt(source, bytes, column, row) : [0, 0, 0];
      }),
    );
  } finally {
    await copy.dispose();
  }
}

function sceneLinearAt(rgb: Float32Array, sceneLinear: ToSceneLinear): Float64Array {
  const values = new Float64Array(rgb.length);
  for (let at = 0; at < rgb.length; at += 3)
    values.set(sceneLinear(rgb[at] as number, rgb[at + 1] as number, rgb[at + 2] as number), at);
  return values;
}

/** R'G'B' at a place of the upright picture. */
type CodesAt = (bytes: Buffer, x: number, y: number) => Triple;

/** Of pictures as they are coded, by how their file says that they are to be seen: nothing of it is taken from who turns them. */
async function codesAt({ job, outcome: { linearisation, width, height } }: SpotRequest): Promise<CodesAt> {
  if (linearisation.kind !== 'coded') throw new RangeError('a coded spot of a raw clip');
  const { video, declared } = job.facts;
  const source = sourcePicture(linearisation, width, height);
  if (declared !== undefined) return (bytes, x, y) => codeRgbAt(source, bytes, x, y);
  const orientation = await orientationOfClip(job);
  const { chromaSiting = 'left' } = video;
  const coded = {
    ...source,
    width: video.width,
    height: video.height,
    pixelFormat: video.pixelFormat,
    siting: source.siting !== null && isSiting(chromaSiting) ? chromaSiting : source.siting,
  };
  return (bytes, x, y) => {
    const at = codedPlace(orientation, video, { x, y });
    return codeRgbAt(coded, bytes, at.x, at.y);
  };
}

function codedSpot(
  { width, height }: Spotted,
  frame: number,
  {
    bytes,
    sceneLinear,
    codes,
  }: { readonly bytes: Buffer; readonly sceneLinear: ToSceneLinear; readonly codes: CodesAt },
): Spot {
  const pixels = spotPixels(width, height);
  return {
    frame,
    pixels,
    sceneLinear: Float64Array.from(pixels.flatMap(({ x, y }) => [...sceneLinear(...codes(bytes, x, y))])),
  };
}

/** Of full scale: what 32-bit arithmetic may differ by from double precision (media/colour/picture.ts). */
const SAME_CODE = 1e-5;

/** Which frame a picture is that was decoded alone: the asked one, or the nearest to it whose points it has. Without any it stays the asked one, and the check finds it different. */
function frameOf(
  { width, height, frames }: Spotted,
  asked: number,
  {
    bytes,
    values,
    codes,
  }: { readonly bytes: Buffer; readonly values: Float32Array; readonly codes: CodesAt },
): number {
  return (
    framesBeside(asked, frames).find((frame) => hasPoints(frame, { bytes, values, codes, width, height })) ??
    asked
  );
}

/** Whether a picture has the points of that frame. */
function hasPoints(
  frame: number,
  {
    bytes,
    values,
    codes,
    width,
    height,
  }: {
    readonly bytes: Buffer;
    readonly values: Float32Array;
    readonly codes: CodesAt;
    readonly width: number;
    readonly height: number;
  },
): boolean {
  return pointsOf(frame, width, height).every(({ x, y }, point) =>
    codes(bytes, x, y).every(
      (code, channel) =>
        Math.abs(code - (values[3 * (POINTS * frame + point) + channel] as number)) <=
        SAME_CODE * Math.max(1, Math.abs(code)),
    ),
  );
}

/** A whole frame of fields, of the earlier one of the frame; the first one as builds of ffmpeg make it, whichever of them it has the points of. */
async function ofFields(request: SpotRequest, frame: number, codes: CodesAt): Promise<Buffer | null> {
  const { job, outcome, values } = request;
  const { width, height } = outcome;
  // Its neighbours are the clip's, also where they lie outside of a stretch.
  const before = framesBefore(job);
  const [first, behind] = [-before, job.facts.video.frames - before];
  const from = Math.max(first, frame - 1);
  const count = Math.min(behind, frame + 2) - from;
  const coded = await codedFrames(request, from, count);
  if (coded === null) return null;
  const made = wholeOfFields(job.facts.video, coded, { at: frame - from, count, isFirst: frame === first });
  return made.find((bytes) => hasPoints(frame, { bytes, values, codes, width, height })) ?? made[0] ?? null;
}

/** So many from `from` on, as they are coded, one behind the other; across a joint of a spanned clip from both of its parts, each opened alone. */
async function codedFrames(request: SpotRequest, from: number, count: number): Promise<Buffer | null> {
  const { job, outcome } = request;
  const behind = from + count;
  const joints = jointsOf(job.facts).map((first) => first - framesBefore(job));
  const begins = [from, ...joints.filter((first) => first > from && first < behind)];
  const pieces: Buffer[] = [];
  for (const [index, begin] of begins.entries()) {
    const piece = await decodedFrames(request, outcome, await openAtFrame(job, begin), {
      lies: 'as-coded',
      count: (begins[index + 1] ?? behind) - begin,
    });
    if (piece === null) return null;
    pieces.push(piece);
  }
  return pieces.length === 1 ? (pieces[0] as Buffer) : Buffer.concat(pieces);
}

/** One frame after the other, in a thread. Given up by the signal at once; the thread ends when its frame is done, with whatever program that asked. */
async function rawSpots(
  { rollFolder, clip, facts }: Job,
  spotted: Spotted,
  frames: readonly number[],
  signal: AbortSignal,
): Promise<Spot[]> {
  signal.throwIfAborted();
  const job = {
    rollFolder,
    clip: { place: clip.place },
    facts: { raw: facts.raw, interpretation: facts.interpretation },
  };
  const pool = createThreadPool<SpotSetup, SpotOrder, Spot>(programFile('worker/master/spot-thread.js'), 1, {
    job,
    spotted,
  });
  const work = (async () => {
    const spots: Spot[] = [];
    for (const frame of frames) {
      if (signal.aborted) break;
      spots.push(await pool.run({ frame }));
    }
    return spots;
  })().finally(() => pool.close());
  let giveUp: () => void = () => undefined;
  const givenUp = new Promise<never>((_, reject) => {
    giveUp = () => reject(signal.reason);
    signal.addEventListener('abort', giveUp, { once: true });
  });
  try {
    return await Promise.race([work, givenUp]);
  } finally {
    signal.removeEventListener('abort', giveUp);
    // Whoever gave it up has no use for how it ends.
    work.catch(() => undefined);
  }
}

export async function spotsOf(request: SpotRequest): Promise<Spot[]> {
  const { job, outcome, sceneLinear, values, signal } = request;
  const { linearisation, width, height } = outcome;
  const spots: Spot[] = [];
  const frames = request.of ?? masterSpotFrames(job, outcome.frames);
  const declared = job.facts.declared === undefined ? null : await declaredPictures(job, frames, signal);
  let codes: CodesAt | null = null;
  const coded = async (frame: number): Promise<Spot | null> => {
    const placed = declared === null ? await exrValues(request, frame) : null;
    if (placed !== null)
      return {
        frame,
        pixels: spotPixels(width, height),
        sceneLinear: sceneLinearAt(placed, sceneLinear),
      };
    // Nobody but our own reader made such a picture.
    if (job.facts.exr?.reader === 'own') return null;
    codes ??= await codesAt(request);
    const bytes =
      declared !== null
        ? (declared.get(frame) ?? null)
        : earlierField(job.facts.video) === null
          ? await decodedFrame(request, outcome, await openAtFrame(job, frame), 'as-coded')
          : await ofFields(request, frame, codes);
    if (bytes === null) return null;
    // Only a seek may land beside; the first frame needs none, and a decoder of its own knows its frames by their count.
    return codedSpot(
      outcome,
      declared === null && frame > 0 && job.clip.place.kind !== 'sequence'
        ? frameOf(outcome, frame, { bytes, values, codes })
        : frame,
      { bytes, sceneLinear, codes },
    );
  };
  const found =
    linearisation.kind === 'raw'
      ? await rawSpots(job, { linearisation, frames: outcome.frames, width, height }, frames, signal)
      : null;
  for (const [index, frame] of frames.entries()) {
    signal.throwIfAborted();
    const spot = found === null ? await coded(frame) : (found[index] ?? null);
    if (spot !== null && spot.pixels.length > 0 && !spots.some((other) => other.frame === spot.frame))
      spots.push(spot);
  }
  return spots;
}
