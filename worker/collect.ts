/** Reads the pipes of a recipe: the fingerprints of the source, and a hash of what left each encoder. */
import type { ClipFacts } from '../media/facts.ts';
import {
  type Bitstream,
  joinedBitstream,
  type PacketHashes,
  readBitstream,
  readPacketHashes,
} from '../proof/bitstream.ts';
import { readPictureHashes, readAudioHash } from '../proof/exact.ts';
import type { PipeReader } from '../process/run.ts';
import { FingerprintCollector, ValueCollector } from '../proof/collect.ts';
import { AudioCollector, type UsedPart } from '../proof/audio-collector.ts';
import { usedPart } from '../proof/audio-plan.ts';
import type { AudioFingerprint } from '../proof/audio-fingerprint.ts';
import type { SourceFingerprints } from '../proof/source-fingerprints.ts';
import type { EncoderInputComparer } from '../proof/encoder-input/compare.ts';
import type { ThinComparer } from '../proof/colour-way/thin.ts';
import { type LightReaders, readTwice } from './content-light.ts';
import type { FrameFingerprints } from '../proof/form.ts';
import type { TextComparer } from '../proof/text/compare.ts';
import type { Outcome } from '../profiles/outcome.ts';
import type { Pipe } from '../profiles/recipe/index.ts';
import type { Watched } from './watch.ts';

export interface Collecting {
  readonly readers: readonly PipeReader[];
  /** Of each deliverable, what left its encoders. */
  readonly bitstreams: readonly Bitstream[];
  /** Of each deliverable that is cut or joined, the packets of its picture. */
  readonly packets: readonly PacketHashes[];
  /** Of the source, each packet by itself, where it is read so. */
  readonly sourcePackets: () => PacketHashes;
  /** Of each deliverable, what its encoder was given; undefined: no sketch is taken. */
  readonly sketches: readonly (ValueCollector | undefined)[];
  /** Of each deliverable, by bar around its picture, the hash of each frame of it. */
  readonly bars: readonly (readonly Buffer[])[];
  /** Of frames that were made of fields for masters; of those that fields were split into. Throws RangeError when they ended within a sample. */
  readonly made: () => FrameFingerprints;
  readonly split: () => FrameFingerprints;
  /** Of the source, what was read of it. */
  readonly source: () => Bitstream;
  /** Of each picture that was fed in, SHA-256, 32 bytes. */
  readonly handedOver: () => Buffer;
  /** By track of the source, where no pictures are decoded: fingerprints, and the hash of what is kept sample for sample; null: nobody takes it. */
  heard(): {
    readonly tracks: readonly (AudioFingerprint | null)[];
    readonly exact: readonly (string | null)[];
  };
  /** null: the encoder did not report the clock of the frames. */
  fingerprints(watched: Watched): SourceFingerprints | null;
  /** By view: of its pictures. Throws RangeError when they ended within a sample. */
  views(): FrameFingerprints[];
}

/** The part of a source track that any of the deliverables has time for. */
export function usedOf(facts: ClipFacts, outcomes: readonly Outcome[], track: number): UsedPart {
  const source = facts.audio[track];
  if (source === undefined) throw new RangeError(`audio track ${track} is not among the source facts`);
  const parts = outcomes
    .flatMap(({ audio }) => audio.filter((one) => one.sourceTrack === track))
    .map((one) =>
      usedPart(source.sampleRate, one.sampleRate, { offset: source.startOffset, samples: one.samples }),
    );
  return {
    start: Math.min(...parts.map((part) => part.start)),
    end: Math.max(...parts.map((part) => part.end)),
  };
}

/** For a recipe without frames. */
const nobody: PipeReader = async () => {
  throw new RangeError('frames that nobody asked for');
};

export interface CollectRequest {
  readonly facts: ClipFacts;
  readonly outcomes: readonly Outcome[];
  readonly pipes: readonly Pipe[];
  /** By deliverable, and behind them by view, what compares its tiles; null: it has none. */
  readonly comparers?: readonly (EncoderInputComparer | null)[];
  /** By deliverable, what compares its burnt-in text; null: it has none. */
  readonly texts?: readonly (TextComparer | null)[];
  /** By deliverable, what measures its light and what reads it a second time; null: nobody asks. */
  readonly light?: readonly (LightReaders | null)[];
  /** By view, what compares the pictures before its table with those behind it. */
  readonly thin?: readonly ThinComparer[];
  /** Of an interlaced source. */
  readonly earlierField: 'top' | 'bottom' | null;
  /** Each packet of the source is hashed by itself, as of a spanned clip. */
  readonly byPacket?: boolean;
  /** Reads the pipe of the decoded frames, where the recipe has one. */
  readonly frames?: PipeReader | undefined;
}

export function collect({
  facts,
  outcomes,
  pipes,
  earlierField,
  comparers = [],
  texts = [],
  light = [],
  thin = [],
  byPacket = false,
  frames = nobody,
}: CollectRequest): Collecting {
  const pictures = new FingerprintCollector();
  const made = new FingerprintCollector();
  const split = new FingerprintCollector();
  const views = thin.map((comparer) => ({ pictures: new FingerprintCollector(), thin: comparer }));
  const bitstreams: Bitstream[] = outcomes.map(() => ({ streams: [] }));
  const sketches: (ValueCollector | undefined)[] = outcomes.map(() => undefined);
  const bars: Buffer[][] = outcomes.map(() => []);
  const packets: PacketHashes[] = outcomes.map(() => ({ streams: [] }));
  let source: Bitstream = { streams: [] };
  let sourcePackets: PacketHashes = { streams: [] };
  let handedOver: Buffer = Buffer.alloc(0);
  const audioTracks = new Map<number, AudioCollector>();
  let exact: { pixelFormat: string; pictures: Buffer } | null = null;
  const exactAudio = new Map<number, string | null>();
  const readers = pipes.map((pipe): PipeReader => {
    if (pipe.kind === 'luma' || pipe.kind === 'colour') {
      const own = pipe.view === null ? pictures : views[pipe.view]?.pictures;
      return own === undefined ? nobody : (stream) => own[pipe.kind].read(stream);
    }
    if (pipe.kind === 'made') return (stream) => made[pipe.of].read(stream);
    if (pipe.kind === 'split') return (stream) => split[pipe.of].read(stream);
    if (pipe.kind === 'thin') {
      const thin = views[pipe.view]?.thin;
      return thin === undefined ? nobody : (stream) => thin.read(pipe.of, stream);
    }
    if (pipe.kind === 'source') {
      return async (stream) => {
        if (facts.parts === undefined && !byPacket) source = await readBitstream(stream);
        else {
          sourcePackets = await readPacketHashes(stream);
          source = joinedBitstream([sourcePackets]);
        }
      };
    }
    if (pipe.kind === 'packets') {
      return async (stream) => {
        packets[pipe.deliverable] = await readPacketHashes(stream);
      };
    }
    if (pipe.kind === 'handed-over') {
      return async (stream) => {
        handedOver = await readPictureHashes(stream);
      };
    }
    if (pipe.kind === 'bitstream') {
      return async (stream) => {
        bitstreams[pipe.deliverable] = await readBitstream(stream);
      };
    }
    if (pipe.kind === 'sketch') {
      const collector = new ValueCollector();
      sketches[pipe.deliverable] = collector;
      return (stream) => collector.read(stream);
    }
    if (pipe.kind === 'frames') return frames;
    if (pipe.kind === 'tiles') {
      const comparer = comparers[pipe.comparer];
      if (comparer === null || comparer === undefined) return nobody;
      return (stream) => (pipe.of === 'source' ? comparer.readSource(stream) : comparer.readGiven(stream));
    }
    if (pipe.kind === 'placing') {
      const placing = comparers[pipe.comparer]?.placing;
      if (placing === null || placing === undefined) return nobody;
      return (stream) => (pipe.of === 'source' ? placing.readSource(stream) : placing.readGiven(stream));
    }
    if (pipe.kind === 'whole') {
      const comparer = comparers[pipe.comparer];
      if (comparer === null || comparer === undefined) return nobody;
      return (stream) => comparer.whole.read(pipe.of, stream);
    }
    if (pipe.kind === 'text') {
      const comparer = texts[pipe.deliverable];
      return comparer === null || comparer === undefined ? nobody : (stream) => comparer.read(stream);
    }
    if (pipe.kind === 'bar') {
      return async (stream) => {
        const own = bars[pipe.deliverable];
        if (own !== undefined) own[pipe.bar] = await readPictureHashes(stream);
      };
    }
    if (pipe.kind === 'light') {
      const readers = light[pipe.deliverable];
      return readers === null || readers === undefined ? nobody : (stream) => readTwice(stream, readers);
    }
    if (pipe.kind === 'exact') {
      return async (stream) => {
        exact = { pixelFormat: pipe.pixelFormat, pictures: await readPictureHashes(stream) };
      };
    }
    if (pipe.kind === 'exact-audio') {
      return async (stream) => {
        exactAudio.set(pipe.track, await readAudioHash(stream));
      };
    }
    const { channels = 0, sampleRate = 0 } = facts.audio[pipe.track] ?? {};
    const collector = new AudioCollector({ channels, sampleRate }, usedOf(facts, outcomes, pipe.track));
    audioTracks.set(pipe.track, collector);
    return async (stream) => {
      for await (const chunk of stream) collector.take(chunk as Buffer);
    };
  });
  const audio = (track: number): AudioFingerprint | null => audioTracks.get(track)?.end() ?? null;
  const hasColour = (kind: 'made' | 'split'): boolean =>
    pipes.some((pipe) => pipe.kind === kind && pipe.of === 'colour');
  return {
    readers,
    bitstreams,
    packets,
    sourcePackets: () => sourcePackets,
    sketches,
    bars,
    made: () => made.fingerprints(1, hasColour('made')),
    split: () => split.fingerprints(1, hasColour('split')),
    source: () => source,
    handedOver: () => handedOver,
    heard: () => ({
      tracks: facts.audio.map((_, track) => audio(track)),
      exact: facts.audio.map((_, track) => exactAudio.get(track) ?? null),
    }),
    views: () => views.map((view) => view.pictures.fingerprints(1, true)),
    fingerprints: ({ timeBase, times }) => {
      if (timeBase === null) return null;
      const picture = pictures.fingerprints(
        earlierField === null ? 1 : 2,
        pipes.some((pipe) => pipe.kind === 'colour' && pipe.view === null),
      );
      return {
        picture,
        times: { timeBase, ticks: Float64Array.from(times) },
        audioTracks: facts.audio.map((_, track) => audio(track)),
        ...(exact === null
          ? {}
          : {
              exact: { ...exact, audioTracks: facts.audio.map((_, track) => exactAudio.get(track) ?? null) },
            }),
      };
    },
  };
}
