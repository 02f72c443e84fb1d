/** What the one decode of a file is asked for beside errors and a count: its frame fingerprints, its audio, and a hash of its packets. */
import type { Readable } from 'node:stream';
import {
  type Bitstream,
  bitstreamOptions,
  packetOptions,
  type PacketHashes,
  readBitstream,
  readPacketHashes,
  unitFilters,
} from '../proof/bitstream.ts';
import { FIRST_PIPE } from '../process/run.ts';
import {
  exactTap,
  type ExactHashes,
  pictureHashes,
  readPictureHashes,
  readAudioHash,
  audioHash,
} from '../proof/exact.ts';
import { FingerprintCollector } from '../proof/collect.ts';
import type { FrameFingerprints } from '../proof/form.ts';
import { type HeardAudio, AudioListener } from '../proof/audio-listener.ts';
import { type ExpectedAudio, lowFrequencyChannel, type AudioPrecision } from '../proof/audio-plan.ts';
import type { SourceFingerprints } from '../proof/source-fingerprints.ts';
import { ValueCollector } from '../proof/collect.ts';
import type { SketchForm } from '../proof/sketch/form.ts';
import { type Quantisers, quantiserReader } from './quantiser.ts';
import { maskInput, sketchChains, sketchValues } from '../proof/sketch/tap.ts';
import { type PictureTap, pictureTap, rawPictures, rawAudio } from '../proof/tap.ts';
import { burnInFace } from '../proof/text/burn-in-font.ts';
import { FileTextReader, type FileTextVerdict } from '../proof/text/file-text.ts';
import { textChains } from '../proof/text/tap.ts';
import { layoutOf } from '../proof/encoder-input/samples.ts';
import type { Outcome } from '../profiles/outcome.ts';
import { type LightRead, LightReader } from './light/reader.ts';

export interface WitnessFacts {
  readonly picture: FrameFingerprints;
  /** By audio track of the outcome; null where the source's fingerprints have none, or the track is not there. */
  readonly audioTracks: readonly (HeardAudio | null)[];
  readonly bitstream: Bitstream;
  /** Of its picture, one by one, where a segment or a joined file is looked at; else none. */
  readonly packets: PacketHashes;
  /** null: the outcome does not ask that every sample be kept. */
  readonly exact: ExactHashes | null;
  /** Numbers of its error sketch, frame by frame; null: none was asked for. */
  readonly sketch: Uint16Array | null;
  /** What its frames were seen to show; null: no text was asked for. */
  readonly text: FileTextVerdict | null;
  /** How much light its pictures have; null: its stream states nothing of it. */
  readonly light: LightRead | null;
  /** Read from its bitstream; null: its codec has no such number, or it could not be read. */
  readonly quantisers: Quantisers | null;
}

/** What the error sketch is taken by: the picture of its mask, as the file's pixels. */
export interface SketchedBy {
  readonly form: SketchForm;
  readonly maskFile: string;
}

export interface Witness {
  /** Of ffmpeg, before `args`; null: no picture is decoded. */
  readonly graph: string | null;
  /** Inputs behind the file. */
  readonly inputs: readonly string[];
  readonly args: readonly string[];
  readonly pipes: readonly ((stream: Readable) => Promise<void>)[];
  /** What was read; the decode has ended. */
  facts(): WitnessFacts;
}

const isInterpolated = ({ recording }: Pick<Outcome['audio'][number], 'recording'>): boolean =>
  recording !== null && recording.driftMillionths !== 0;

/** Samples are equal where nothing but their number of bits changed. */
function precisionOf(
  { codec, sampleRate, recording }: Outcome['audio'][number],
  sourceRate: number,
): AudioPrecision {
  // Where a clock is taken out, samples lie between those of the recording: of two ways to find them neither is the other to the bit.
  if (sampleRate !== sourceRate || isInterpolated({ recording })) return null;
  if (codec === 'pcm_s16le') return 16;
  // Every other uncompressed form has its 24 highest bits in the fingerprints.
  return codec.startsWith('pcm_') ? 24 : null;
}

/** How the audio of one track of the outcome must lie. */
export function expectedAudio(
  outcome: Outcome,
  index: number,
  fingerprints: SourceFingerprints,
): ExpectedAudio | null {
  const track = outcome.audio[index];
  const offset = outcome.proof.audioOffsets[index];
  const source = track === undefined ? null : fingerprints.audioTracks[track.sourceTrack];
  if (track === undefined || offset === undefined || source === null || source === undefined) return null;
  return {
    offset,
    samples: track.samples,
    tolerance: track.tolerance,
    precision: precisionOf(track, source.sampleRate),
    interpolated:
      isInterpolated(track) && track.sampleRate === source.sampleRate && track.codec.startsWith('pcm_'),
    lowFrequency: track.codec === 'aac' ? lowFrequencyChannel(track.layout) : null,
  };
}

/** The earlier field of a deliverable that keeps its fields. */
function keptField({ proof }: Outcome): 'top' | 'bottom' | null {
  return proof.kept ? proof.earlierField : null;
}

function graphOf(
  { exact, pixelFormat, burnIn, width, height, contentLight }: Outcome,
  tap: PictureTap,
  sketched: SketchedBy | null,
  isRead: boolean,
): string {
  const wanted = [
    'shown',
    ...(contentLight === null ? [] : ['light']),
    ...(exact === null ? [] : ['exact']),
    ...(sketched === null ? [] : ['sketched']),
    ...(isRead ? ['worded'] : []),
  ];
  const samples = exact === null ? [] : [exactTap('exact', 'exact-samples', pixelFormat, exact.comparedIn)];
  return [
    `[0:v:0]${wanted.length === 1 ? 'null' : `split=${wanted.length}`}${wanted.map((pad) => `[${pad}]`).join('')}`,
    ...tap.chains,
    ...samples,
    ...(sketched === null
      ? []
      : sketchChains({ from: 'sketched', to: 'sketch', maskInput: 1, form: sketched.form })),
    ...(!isRead
      ? []
      : textChains({
          burnIn,
          picture: { width, height },
          sides: [{ from: 'worded', name: 'words' }],
          to: 'text',
        })),
  ].join(';');
}

/** null: there is no text, or in pixels that nobody draws in. */
function textReader({ burnIn, pixelFormat, width, height, codec }: Outcome): FileTextReader | null {
  const layout = layoutOf(pixelFormat);
  return burnIn.length === 0 || layout === null
    ? null
    : new FileTextReader({
        burntIn: burnIn,
        picture: { width, height },
        layout,
        font: burnInFace(),
        codec,
      });
}

export interface WitnessRequest {
  readonly outcome: Outcome;
  readonly fingerprints: SourceFingerprints | null;
  /** How many audio tracks the file has; those beyond are not listened to. */
  readonly tracks: number;
  readonly sketched: SketchedBy | null;
  /** `pictures`: of a segment. `audio`: of a file that is joined from segments, whose pictures were seen there; its packets are told one by one. */
  readonly seen: 'all' | 'pictures' | 'audio';
}

export function witnessOf({ outcome, fingerprints, tracks, sketched, seen }: WitnessRequest): Witness {
  const args: string[] = [];
  const pipes: ((stream: Readable) => Promise<void>)[] = [];
  const add = (options: readonly string[], read: (stream: Readable) => Promise<void>): void => {
    args.push(...options, `pipe:${FIRST_PIPE + pipes.length}`);
    pipes.push(read);
  };

  const collector = new FingerprintCollector();
  const tap = pictureTap('shown', {
    pixelFormat: outcome.pixelFormat,
    size: outcome.proof.framing.scaled,
    earlierField: keptField(outcome),
    framing: outcome.proof.framing,
  });
  const isSeen = seen !== 'audio';
  if (isSeen) add(rawPictures('luma'), (stream) => collector.luma.read(stream));
  if (isSeen && tap.hasColour) add(rawPictures('colour'), (stream) => collector.colour.read(stream));

  const listeners = outcome.audio.map((track, index) => {
    const expected =
      fingerprints === null || index >= tracks ? null : expectedAudio(outcome, index, fingerprints);
    const source = fingerprints?.audioTracks[track.sourceTrack] ?? null;
    return expected === null || source === null
      ? null
      : new AudioListener(source, { channels: track.channels, sampleRate: track.sampleRate }, expected);
  });
  listeners.forEach((listener, index) => {
    if (listener !== null) add(rawAudio(`0:a:${index}`), (stream) => listen(listener, stream));
  });

  let pictures: Buffer = Buffer.alloc(0);
  const exactAudio: (string | null)[] = outcome.audio.map(() => null);
  if (outcome.exact !== null) {
    if (isSeen)
      add(pictureHashes('exact-samples'), async (stream) => {
        pictures = await readPictureHashes(stream);
      });
    for (const [index, { codec }] of outcome.audio.slice(0, tracks).entries()) {
      add(audioHash(`0:a:${index}`, codec), async (stream) => {
        exactAudio[index] = await readAudioHash(stream);
      });
    }
  }

  const sketch = new ValueCollector();
  if (sketched !== null) add(rawPictures('sketch'), (stream) => sketch.read(stream));

  const reader = isSeen ? textReader(outcome) : null;
  if (reader !== null) add(rawPictures('text'), (stream) => reader.read(stream));

  // What states its light is not cut (profiles/segments.ts).
  const light = outcome.contentLight === null ? null : new LightReader(outcome);
  if (light !== null)
    add(rawPictures('light'), async (stream) => {
      for await (const chunk of stream) light.take(chunk as Buffer);
    });

  const quantiser = sketched === null ? null : quantiserReader(outcome.codec, outcome.packetBytes);
  if (quantiser !== null)
    add(['-map', '0:v:0', '-c:v', 'copy', '-f', 'data'], (stream) => quantiser.read(stream));

  let bitstream: Bitstream = { streams: [] };
  const units = unitFilters(outcome.codec);
  const comparable = units === null ? [] : ['-bsf:v', units.ofFile];
  add(bitstreamOptions(['0:v', '0:a?'], comparable), async (stream) => {
    bitstream = await readBitstream(stream);
  });
  let packets: PacketHashes = { streams: [] };
  if (seen !== 'all')
    add(packetOptions(['0:v:0']), async (stream) => {
      packets = await readPacketHashes(stream);
    });

  return {
    graph: isSeen ? graphOf(outcome, tap, sketched, reader !== null) : null,
    inputs: sketched === null ? [] : maskInput(sketched.maskFile, sketched.form),
    args,
    pipes,
    facts: () => ({
      picture: collector.fingerprints(keptField(outcome) === null ? 1 : 2, isSeen && tap.hasColour),
      packets,
      audioTracks: listeners.map((listener) => (listener === null ? null : heard(listener))),
      bitstream,
      exact:
        outcome.exact === null
          ? null
          : { pixelFormat: outcome.exact.comparedIn, pictures, audioTracks: exactAudio },
      text: reader?.verdict() ?? null,
      light: light?.read() ?? null,
      quantisers: quantiser?.quantisers() ?? null,
      sketch: sketched === null ? null : sketchValues(sketch, sketched.form),
    }),
  };
}

async function listen(listener: AudioListener, stream: Readable): Promise<void> {
  for await (const chunk of stream) listener.take(chunk as Buffer);
}

/** Audio that ends within a sample is torn: another check says why. */
function heard(listener: AudioListener): HeardAudio | null {
  try {
    return listener.end();
  } catch (error) {
    if (error instanceof RangeError) return null;
    throw error;
  }
}
