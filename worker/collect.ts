/** Reads the pipes of a recipe: the trail of the source, and a hash of what left each encoder. */
import type { ClipFacts } from '../media/facts.ts';
import { type Payload, readPayload } from '../proof/payload.ts';
import { readPictureHashes, readSoundHash } from '../proof/exact.ts';
import type { PipeReader } from '../process/run.ts';
import { TrailCollector } from '../proof/collect.ts';
import { SoundCollector } from '../proof/sound-collector.ts';
import { usedPart } from '../proof/sound-plan.ts';
import type { SoundTrail } from '../proof/sound-trail.ts';
import type { SourceTrail } from '../proof/source-trail.ts';
import type { Outcome } from '../profiles/outcome.ts';
import type { Pipe } from '../profiles/recipe/index.ts';
import type { Watched } from './watch.ts';

export interface Collecting {
  readonly readers: readonly PipeReader[];
  /** Of each deliverable, what left its encoders. */
  readonly payloads: readonly Payload[];
  /** Of the source, what was read of it. */
  readonly source: () => Payload;
  /** null: the encoder did not tell the clock of the frames. */
  trail(watched: Watched): SourceTrail | null;
}

/** The part of a source track that any of the deliverables has time for. */
function used(facts: ClipFacts, outcomes: readonly Outcome[], track: number): { start: number; end: number } {
  const source = facts.audio[track];
  if (source === undefined) throw new RangeError(`sound track ${track} is not among the source facts`);
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
  /** Of an interlaced source. */
  readonly earlierField: 'top' | 'bottom' | null;
  /** Reads the pipe of the decoded frames, where the recipe has one. */
  readonly frames?: PipeReader | undefined;
}

export function collect({
  facts,
  outcomes,
  pipes,
  earlierField,
  frames = nobody,
}: CollectRequest): Collecting {
  const pictures = new TrailCollector();
  const payloads: Payload[] = outcomes.map(() => ({ streams: [] }));
  let source: Payload = { streams: [] };
  const sounds = new Map<number, SoundCollector>();
  let exact: { pixelFormat: string; pictures: Buffer } | null = null;
  const exactSounds = new Map<number, string | null>();
  const readers = pipes.map((pipe): PipeReader => {
    if (pipe.kind === 'luma') return (stream) => pictures.luma.read(stream);
    if (pipe.kind === 'colour') return (stream) => pictures.colour.read(stream);
    if (pipe.kind === 'source') {
      return async (stream) => {
        source = await readPayload(stream);
      };
    }
    if (pipe.kind === 'payload') {
      return async (stream) => {
        payloads[pipe.deliverable] = await readPayload(stream);
      };
    }
    if (pipe.kind === 'frames') return frames;
    if (pipe.kind === 'exact') {
      return async (stream) => {
        exact = { pixelFormat: pipe.pixelFormat, pictures: await readPictureHashes(stream) };
      };
    }
    if (pipe.kind === 'exact-sound') {
      return async (stream) => {
        exactSounds.set(pipe.track, await readSoundHash(stream));
      };
    }
    const { channels = 0, sampleRate = 0 } = facts.audio[pipe.track] ?? {};
    const collector = new SoundCollector({ channels, sampleRate }, used(facts, outcomes, pipe.track));
    sounds.set(pipe.track, collector);
    return async (stream) => {
      for await (const chunk of stream) collector.take(chunk as Buffer);
    };
  });
  const sound = (track: number): SoundTrail | null => sounds.get(track)?.end() ?? null;
  return {
    readers,
    payloads,
    source: () => source,
    trail: ({ timeBase, times }) => {
      if (timeBase === null) return null;
      const picture = pictures.trail(
        earlierField === null ? 1 : 2,
        pipes.some(({ kind }) => kind === 'colour'),
      );
      return {
        picture,
        times: { timeBase, ticks: Float64Array.from(times) },
        sounds: facts.audio.map((_, track) => sound(track)),
        ...(exact === null
          ? {}
          : { exact: { ...exact, sounds: facts.audio.map((_, track) => exactSounds.get(track) ?? null) } }),
      };
    },
  };
}
