/**
 * Measures one file from its bytes: a packet scan (ffprobe), a decode (ffmpeg), our own reading of the index, and the
 * digest. Two programs a file, side by side: starting one costs as much as reading a short clip.
 */
import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { basename, dirname, join } from 'node:path';
import { type Finding, finding } from '../findings/finding.ts';
import { FileDamage } from '../files/bytes.ts';
import { digestOfFile } from '../files/digest.ts';
import { type OpenedInput, openInput } from '../media/input.ts';
import { probeMovie } from '../media/probe/index.ts';
import type { MediaTools } from '../process/locate.ts';
import type { SourceFingerprints } from '../proof/source-fingerprints.ts';
import type { Outcome } from '../profiles/outcome.ts';
import { decodeWhole } from './decode.ts';
import type { Measured, MeasuredMatroska } from './measured.ts';
import { pictureStream } from './ffv1.ts';
import { readMatroska } from './matroska.ts';
import { readMovie } from './movie/read.ts';
import { sketchFormOf } from '../profiles/outcome/picture-error.ts';
import type { ErrorSketch } from '../proof/sketch/form.ts';
import { maskPicture } from '../proof/sketch/mask.ts';
import { type SketchedBy, witnessOf } from './witness.ts';

export interface MeasureOptions {
  readonly tools: MediaTools;
  /** Threads of the decoder. */
  readonly threads?: number;
  readonly signal?: AbortSignal;
  readonly onFrames?: (frames: number) => void;
  /** What had to come out: says how its fingerprints are taken. */
  readonly outcome: Outcome;
  /** Of the source: says where its audio is listened to. */
  readonly sourceFingerprints: SourceFingerprints | null;
  /** Of what the encoder was given: says by which mask the file's is taken. */
  readonly sketch: ErrorSketch | null;
}

/** What could not be measured is null, and a finding says why. Throws when the file cannot be opened at all, and when stopped. */
export async function measureFile(
  path: string,
  options: MeasureOptions,
): Promise<{ measured: Measured; findings: Finding[] }> {
  const findings: Finding[] = [];
  const input = await openInput(dirname(path), { kind: 'movie', file: basename(path) });
  // The first to fail ends the others.
  const failed = new AbortController();
  const signal =
    options.signal === undefined ? failed.signal : AbortSignal.any([options.signal, failed.signal]);
  const decoding = {
    signal,
    ...(options.threads === undefined ? {} : { threads: options.threads }),
    ...(options.onFrames === undefined ? {} : { onFrames: options.onFrames }),
  };
  const together = async <Value>(work: Promise<Value>): Promise<Value> => {
    try {
      return await work;
    } catch (error) {
      failed.abort(error);
      throw error;
    }
  };
  const mask = await maskOf(options);
  const sketched = mask?.sketched ?? null;
  const witness = witnessOf(
    options.outcome,
    options.sourceFingerprints,
    options.outcome.audio.length,
    sketched,
  );
  try {
    const settled = await Promise.allSettled([
      together(digestOfFile(path, signal)),
      together(scanPackets({ input, path, tools: options.tools, signal, findings })),
      together(decodeWhole(input, options.tools, { ...decoding, witness })),
      together(readIndex(path, options.outcome, signal, findings)),
    ]);
    options.signal?.throwIfAborted();
    if (failed.signal.aborted) throw failed.signal.reason;
    const [digest, packets, decode, index] = settled.map(
      (one) => (one as PromiseFulfilledResult<unknown>).value,
    ) as [Measured['digest'], Pick<Measured, 'facts' | 'evidence'>, Measured['decode'], Index];
    // A program that is asked for a track that is not there does nothing at all: asked again for what there is.
    const tracks = packets.facts?.audio.length ?? options.outcome.audio.length;
    if (tracks >= options.outcome.audio.length)
      return {
        measured: { digest, ...packets, decode, witness: decode === null ? null : witness.facts(), ...index },
        findings,
      };
    const fewer = witnessOf(options.outcome, options.sourceFingerprints, tracks, sketched);
    const again = await decodeWhole(input, options.tools, { ...decoding, witness: fewer });
    return {
      measured: {
        digest,
        ...packets,
        decode: again,
        witness: again === null ? null : fewer.facts(),
        ...index,
      },
      findings,
    };
  } finally {
    await mask?.dispose();
    await input.dispose();
  }
}

/** The picture of the mask in a private folder; null: no sketch is taken. */
async function maskOf({
  outcome,
  sketch,
}: MeasureOptions): Promise<{ sketched: SketchedBy; dispose: () => Promise<void> } | null> {
  const form = sketchFormOf(outcome, outcome.pixelFormat);
  if (form === null || sketch === null) return null;
  const folder = await mkdtemp(join(tmpdir(), 'rushlight-mask-'));
  const dispose = (): Promise<void> => rm(folder, { recursive: true, force: true });
  const maskFile = join(folder, 'mask.raw');
  try {
    await writeFile(maskFile, maskPicture(sketch.seed, form));
  } catch (error) {
    await dispose();
    throw error;
  }
  return { sketched: { form, maskFile }, dispose };
}

type Index = Pick<Measured, 'movie' | 'matroska'>;

async function matroskaOf(path: string, signal: AbortSignal): Promise<MeasuredMatroska> {
  const file = await readMatroska(path, signal);
  return { file, ...pictureStream(file) };
}

async function readIndex(
  path: string,
  { container, frames }: Outcome,
  signal: AbortSignal,
  findings: Finding[],
): Promise<Index> {
  try {
    return container === 'mkv'
      ? { movie: null, matroska: await matroskaOf(path, signal) }
      : { movie: await readMovie(path, { pictures: frames, signal }), matroska: null };
  } catch (error) {
    if (!(error instanceof FileDamage) && !(error instanceof RangeError)) throw error;
    findings.push(
      finding(
        'deliverable-unreadable',
        `its index: ${error.message}`,
        container === 'mkv' ? 'a Matroska file with FFV1' : 'a QuickTime or MP4 file',
        { file: path },
      ),
    );
    return { movie: null, matroska: null };
  }
}

async function scanPackets({
  input,
  path,
  tools,
  signal,
  findings,
}: {
  readonly input: OpenedInput;
  readonly path: string;
  readonly tools: MediaTools;
  readonly signal: AbortSignal;
  /** What could not be measured is added. */
  readonly findings: Finding[];
}): Promise<Pick<Measured, 'facts' | 'evidence'>> {
  const probed = await probeMovie(input, tools, { signal });
  if (probed.state === 'measured') return { facts: probed.facts, evidence: probed.evidence };
  findings.push(
    finding(
      'deliverable-unreadable',
      `${probed.problem}: ${probed.detail}`,
      'a movie whose packets can be counted',
      { file: path },
    ),
  );
  return { facts: null, evidence: null };
}
