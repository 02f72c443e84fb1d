/**
 * Measures one file from its bytes: a packet scan (ffprobe), a decode (ffmpeg), our own reading of the index, and the
 * digest. Two programs a file, side by side: starting one costs as much as reading a short clip.
 */
import { basename, dirname } from 'node:path';
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
import type { ErrorSketch } from '../proof/sketch/form.ts';
import { maskOf } from './mask.ts';
import type { SeenPictures } from './pictures.ts';
import { type Witness, witnessOf, type WitnessFacts } from './witness.ts';

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
  /** Its pictures, seen in the segments that it was joined from; null: they are decoded here. */
  readonly pictures: SeenPictures | null;
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
  const { pictures } = options;
  const mask = pictures === null ? await maskOf(options) : null;
  const witnessFor = (tracks: number): Witness =>
    witnessOf({
      outcome: options.outcome,
      fingerprints: options.sourceFingerprints,
      tracks,
      sketched: mask?.sketched ?? null,
      seen: pictures === null ? 'all' : 'audio',
    });
  const witness = witnessFor(options.outcome.audio.length);
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
        measured: { digest, ...packets, ...seenBy(decode, witness, pictures, findings), ...index },
        findings,
      };
    const fewer = witnessFor(tracks);
    const again = await decodeWhole(input, options.tools, { ...decoding, witness: fewer });
    return {
      measured: {
        digest,
        ...packets,
        ...seenBy(again, fewer, pictures, findings),
        ...index,
      },
      findings,
    };
  } finally {
    await mask?.dispose();
    await input.dispose();
  }
}

/** What of the file was decoded here, and of a joined one what was seen of its segments: each of its packets must be theirs. */
function seenBy(
  decode: Measured['decode'],
  witness: Witness,
  pictures: SeenPictures | null,
  findings: Finding[],
): Pick<Measured, 'decode' | 'witness'> {
  if (decode === null) return { decode, witness: null };
  const facts = witness.facts();
  if (pictures === null) return { decode, witness: facts };
  const [there, seen] = [facts.packets, pictures.packets].map(
    ({ streams }) => streams.find(({ kind }) => kind === 'v')?.packets ?? Buffer.alloc(0),
  ) as [Buffer, Buffer];
  if (there.length === 0 || !there.equals(seen))
    findings.push(
      finding(
        'segment-differs',
        `${there.length / 16} packets in the joined file, which are not those whose pictures were checked`,
        `the ${seen.length / 16} packets of its segments`,
      ),
    );
  const { ended, exitCode } = decode;
  const isWhole = ended === 'exited' && exitCode === 0;
  return {
    decode: {
      frames: pictures.decode.frames,
      errors: [...pictures.decode.errors, ...decode.errors],
      errorCount: pictures.decode.errorCount + decode.errorCount,
      exitCode: isWhole ? pictures.decode.exitCode : exitCode,
      ended: isWhole ? pictures.decode.ended : ended,
    },
    witness: withPictures(facts, pictures),
  };
}

const withPictures = (facts: WitnessFacts, pictures: SeenPictures): WitnessFacts => ({
  ...facts,
  picture: pictures.picture,
  exact: facts.exact === null ? null : { ...facts.exact, pictures: pictures.exact },
  sketch: pictures.sketch,
  quantisers: pictures.quantisers,
  text: pictures.text,
});

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
