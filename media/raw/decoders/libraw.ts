/**
 * LibRaw's `unprocessed_raw`, for what our own decoder does not take. It writes a PGM beside its input, so that it is given a link in
 * a private folder; its exit code is 0 for damaged files too, so that what it wrote is held against the frame's tags to the byte.
 */
import { readFile, stat } from 'node:fs/promises';
import { resolve } from 'node:path';
import { isProgram, programsOnPath } from '../../../process/program.ts';
import { type RunResult, runForOutput } from '../../../process/run.ts';
import { requireBits } from '../../formats/dng/decode.ts';
import { type Cfa, DecoderFailed, type RawDecoder } from './decoder.ts';
import { LIBRAW_DECODER } from './names.ts';
import { readNetpbmHead } from './netpbm.ts';
import { withPrivateLink } from './private-link.ts';

const PROGRAM = 'unprocessed_raw';
/** A frame takes about a second; a hung network drive takes for ever. */
const PATIENCE_MILLISECONDS = 120_000;

/** The last line that the program wrote, or how it ended. */
export function whatHappened(run: RunResult): string {
  if (run.reason === 'stalled') return 'no answer';
  const said = run.stderr.trim().split('\n').pop() ?? '';
  const end = run.startError ?? run.signal ?? (run.exitCode === 0 ? '' : `exit code ${run.exitCode}`);
  return [end, said].filter((part) => part !== '').join(', ') || 'no word';
}

function samplesOf(bytes: Buffer, width: number, height: number): Uint16Array {
  const head = readNetpbmHead(bytes);
  if (head === null) throw new RangeError(`${bytes.length} bytes`);
  if (head.samplesPerPixel !== 1 || head.width !== width || head.height !== height)
    throw new RangeError(
      `a picture of ${head.width}x${head.height}x${head.samplesPerPixel}, the tags say ${width}x${height}x1`,
    );
  const count = width * height;
  if (bytes.length !== head.start + count * 2)
    throw new RangeError(`${bytes.length} bytes, ${head.start + count * 2} are wanted`);
  const samples = new Uint16Array(count);
  for (let index = 0, at = head.start; index < count; index += 1, at += 2)
    samples[index] = ((bytes[at] as number) << 8) | (bytes[at + 1] as number);
  return samples;
}

/** The program at `path`, or null when there is none there or it does not answer as it should. */
async function decoderAt(path: string): Promise<RawDecoder | null> {
  if (!isProgram(path)) return null;
  // Without a file it prints its usage, on one stream or the other, and leaves with a code of its own.
  const asked = await runForOutput(path, [], { stallMilliseconds: 20_000 });
  const version = /LibRaw (\S+)/.exec(`${asked.stdout.toString('utf8')}\n${asked.stderr}`)?.[1];
  if (version === undefined) return null;
  return {
    name: LIBRAW_DECODER,
    version,
    // It puts codes through the table itself, and nothing in its output says so (measured with 0.20.2).
    objection: (_path, { picture }) =>
      picture.pattern === null
        ? 'it gives one sample a pixel, LinearRaw has three'
        : picture.linearisation === null
          ? null
          : 'it does not give codes as stored where there is a LinearizationTable',
    decode: async (source, { picture: { width, height, bitsPerSample } }, options = {}): Promise<Cfa> => {
      const cfa = await withPrivateLink(source, async (link, folder) => {
        const run = await runForOutput(path, ['-q', link], {
          cwd: folder,
          stallMilliseconds: PATIENCE_MILLISECONDS,
          ...(options.signal === undefined ? {} : { signal: options.signal }),
        });
        options.signal?.throwIfAborted();
        const written = `${link}.pgm`;
        const size = await stat(written).then(
          ({ size: bytes }) => bytes,
          () => null,
        );
        if (run.reason !== 'exited' || run.exitCode !== 0 || size === null)
          throw new DecoderFailed(
            LIBRAW_DECODER,
            size === null ? `it wrote no picture (${whatHappened(run)})` : whatHappened(run),
          );
        if (size > width * height * 2 + 1024)
          throw new DecoderFailed(LIBRAW_DECODER, `${size} bytes for ${width}x${height} samples`);
        try {
          return samplesOf(await readFile(written), width, height);
        } catch (error) {
          if (!(error instanceof RangeError)) throw error;
          throw new DecoderFailed(LIBRAW_DECODER, error.message);
        }
      });
      requireBits(cfa, Math.min(bitsPerSample, 16));
      return { cfa, width, height };
    },
  };
}

/** Named by RUSHLIGHT_UNPROCESSED_RAW, then no other place counts; otherwise on PATH. Null: the machine has none. */
export async function locateLibRaw(): Promise<RawDecoder | null> {
  const named = process.env.RUSHLIGHT_UNPROCESSED_RAW;
  if (named !== undefined && named !== '') return await decoderAt(resolve(named));
  const path = programsOnPath(PROGRAM)[0];
  return path === undefined ? null : await decoderAt(path);
}
