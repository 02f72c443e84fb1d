/**
 * Runs a declared decoder over a clip. What counts is what came out: exactly so many pictures of exactly that size, not one byte more,
 * and a program that ended by itself.
 */
import { DecoderFailed, type RawDecoder } from '../decoder.ts';
import { requireBits } from '../../../formats/dng/decode.ts';
import { callProgram } from './call.ts';
import { PictureCutter, type PictureSize } from './cut.ts';
import type { LoadedDecoder } from './programs.ts';
import { takesName } from './names.ts';
import { isCfa } from '../../../declaration.ts';

export interface DeclaredRun {
  /** The movie, or one frame: absolute, in the form of files/names.ts. */
  readonly path: string;
  /** Number of the first frame: 0 in a movie, as in its name otherwise. */
  readonly frame: number;
  /** Pictures that must come. */
  readonly frames: number;
  /** Null: the head of each picture says it. */
  readonly size: PictureSize | null;
  readonly signal?: AbortSignal;
}

/** A program that is kept waiting by whoever takes its pictures is not silent. */
async function unhurried(
  touch: () => void,
  patienceSeconds: number,
  taken: void | Promise<void>,
): Promise<void> {
  const idle = setInterval(touch, patienceSeconds * 250);
  try {
    await taken;
  } finally {
    clearInterval(idle);
  }
}

/**
 * `onPicture` gets each picture's samples as the program wrote them, in order, and the next one when it has done with this one.
 * Answers how large they were. Throws DecoderFailed.
 */
export async function runDeclared(
  decoder: LoadedDecoder,
  run: DeclaredRun,
  onPicture: (samples: Buffer, index: number, size: PictureSize) => void | Promise<void>,
): Promise<PictureSize> {
  const { declared, program } = decoder;
  const cutter = new PictureCutter(declared.gives, run.size);
  const fail = (detail: string): DecoderFailed => new DecoderFailed(declared.name, detail);
  const cut = (chunk: Buffer): Buffer[] => {
    try {
      const pictures = [...cutter.cut(chunk)];
      if (cutter.pictures > run.frames)
        throw new RangeError(`more than the ${run.frames} pictures that the clip has`);
      return pictures;
    } catch (error) {
      if (!(error instanceof RangeError)) throw error;
      throw fail(error.message);
    }
  };
  let given = 0;
  const call = async (frame: number): Promise<void> =>
    await callProgram(
      decoder,
      {
        program,
        command: declared.command,
        path: run.path,
        frame,
        ...(run.signal === undefined ? {} : { signal: run.signal }),
      },
      async (stream, touch) => {
        for await (const chunk of stream) {
          touch();
          for (const picture of cut(chunk as Buffer)) {
            await unhurried(
              touch,
              declared.patience_seconds,
              onPicture(picture, given, cutter.size as PictureSize),
            );
            given += 1;
            touch();
          }
        }
      },
    );
  const each =
    declared.takes.clips === 'movie' && declared.command.some((argument) => argument.includes('{frame}'));
  for (let index = 0; index < (each ? run.frames : 1); index += 1) {
    await call(run.frame + index);
    const wanted = each ? index + 1 : run.frames;
    if (cutter.pictures !== wanted || cutter.rest > 0)
      throw fail(`${cutter.pictures} whole pictures and ${cutter.rest} bytes, ${wanted} pictures are wanted`);
  }
  if (cutter.size === null) throw fail('no picture');
  return cutter.size;
}

/** Runs it until the first picture is whole, and no longer: how large that one is. Throws DecoderFailed. */
export async function firstPicture(decoder: LoadedDecoder, run: DeclaredRun): Promise<PictureSize> {
  const enough = new Error('the first picture is whole');
  let first: PictureSize | null = null;
  try {
    return await runDeclared(decoder, run, (_samples, _index, size) => {
      first = size;
      throw enough;
    });
  } catch (error) {
    if (error !== enough || first === null) throw error;
    return first;
  }
}

/** Three planes of floats, red first, of one picture in `rgb48` (1.0 at `full`) or `rgbf32`. Throws RangeError for sensor values. */
export function planesOf(
  { declared: { gives } }: Pick<LoadedDecoder, 'declared'>,
  samples: Buffer,
): [Float32Array, Float32Array, Float32Array] {
  const { samples: form, full } = gives;
  if (isCfa(form)) throw new RangeError('sensor values are developed, not looked at');
  const whole = form.startsWith('rgb48');
  const size = whole ? 2 : 4;
  const little = form.endsWith('le');
  const view = new DataView(samples.buffer, samples.byteOffset, samples.byteLength);
  const plane = (channel: number): Float32Array =>
    Float32Array.from({ length: samples.length / (size * 3) }, (_, pixel) => {
      const at = (pixel * 3 + channel) * size;
      return whole ? view.getUint16(at, little) / full : view.getFloat32(at, little);
    });
  return [plane(0), plane(1), plane(2)];
}

/** A declared decoder of sensor values as one decoder among others. Throws RangeError for one that gives pictures. */
export function declaredRawDecoder(loaded: LoadedDecoder): RawDecoder {
  const { declared, origin, version } = loaded;
  const form = declared.gives.samples;
  if (!isCfa(form)) throw new RangeError(`${declared.name} gives ${form}, no sensor values`);
  return {
    name: declared.name,
    version,
    declaration: { declared, origin, version },
    objection: (path, { picture: { pattern } }) =>
      !takesName(loaded, path)
        ? `it takes ${declared.takes.names.join(', ')}`
        : pattern === null
          ? 'it gives one sample a pixel, LinearRaw has three'
          : null,
    decode: async (path, { picture: { width, height, bitsPerSample } }, { signal } = {}) => {
      const cfa = new Uint16Array(width * height);
      const number = Number(/(\d+)\D*$/.exec(path.slice(path.lastIndexOf('/') + 1))?.[1] ?? 0);
      await runDeclared(
        loaded,
        {
          path,
          frame: number,
          frames: 1,
          size: { width, height },
          ...(signal === undefined ? {} : { signal }),
        },
        (samples) => {
          const view = new DataView(samples.buffer, samples.byteOffset, samples.byteLength);
          for (let index = 0; index < cfa.length; index += 1)
            cfa[index] = view.getUint16(index * 2, form === 'cfa16le');
        },
      );
      requireBits(cfa, Math.min(bitsPerSample, 16));
      return { cfa, width, height };
    },
  };
}
