/** What the one decode of a file is asked for beside errors and a count: its frame trail, its sound, and a hash of its packets. */
import type { Readable } from 'node:stream';
import { type Payload, payloadFilters, payloadOptions, readPayload } from '../proof/payload.ts';
import { FIRST_PIPE } from '../process/run.ts';
import {
  exactTap,
  type ExactTrail,
  pictureHashes,
  readPictureHashes,
  readSoundHash,
  soundHash,
} from '../proof/exact.ts';
import { TrailCollector } from '../proof/collect.ts';
import type { PictureTrail } from '../proof/form.ts';
import { type HeardSound, SoundListener } from '../proof/sound-listener.ts';
import { type ExpectedSound, lowFrequencyChannel, type SoundPrecision } from '../proof/sound-plan.ts';
import type { SourceTrail } from '../proof/source-trail.ts';
import { type PictureTap, pictureTap, rawPictures, rawSound } from '../proof/tap.ts';
import type { Outcome } from '../profiles/outcome.ts';

export interface WitnessFacts {
  /** null: the outcome does not say how its picture lies in the source's, so that there is nothing to compare by. */
  readonly picture: PictureTrail | null;
  /** By sound track of the outcome; null where the source's trail has none, or the track is not there. */
  readonly sounds: readonly (HeardSound | null)[];
  readonly payload: Payload;
  /** null: the outcome does not ask that every sample be kept. */
  readonly exact: ExactTrail | null;
}

export interface Witness {
  /** Output arguments of ffmpeg, in front of which stands `-filter_complex <graph>` where there is a graph. */
  readonly graph: string | null;
  readonly args: readonly string[];
  readonly pipes: readonly ((stream: Readable) => Promise<void>)[];
  /** What was read; the decode has ended. */
  facts(): WitnessFacts;
}

/** Samples are equal where nothing but their number of bits changed. */
function precisionOf(codec: string, sampleRate: number, sourceRate: number): SoundPrecision {
  if (sampleRate !== sourceRate) return null;
  if (codec === 'pcm_s16le') return 16;
  // Every other uncompressed form has its 24 highest bits in the trail.
  return codec.startsWith('pcm_') ? 24 : null;
}

/** How the sound of one track of the outcome must lie. */
export function expectedSound(outcome: Outcome, index: number, trail: SourceTrail): ExpectedSound | null {
  const track = outcome.audio[index];
  const offset = outcome.proof?.soundOffsets[index];
  const source = track === undefined ? null : trail.sounds[track.sourceTrack];
  if (track === undefined || offset === undefined || source === null || source === undefined) return null;
  return {
    offset,
    samples: track.samples,
    tolerance: track.tolerance,
    precision: precisionOf(track.codec, track.sampleRate, source.sampleRate),
    lowFrequency: track.codec === 'aac' ? lowFrequencyChannel(track.layout) : null,
  };
}

/** The earlier field of a deliverable that keeps its fields. */
function keptField({ proof }: Outcome): 'top' | 'bottom' | null {
  return proof?.kept === true ? proof.earlierField : null;
}

function graphOf({ exact, pixelFormat }: Outcome, tap: PictureTap | null): string | null {
  const wanted = [...(tap === null ? [] : ['shown']), ...(exact === undefined ? [] : ['exact'])];
  if (wanted.length === 0) return null;
  const samples =
    exact === undefined ? [] : [exactTap('exact', 'exact-samples', pixelFormat, exact.comparedIn)];
  return [
    `[0:v:0]${wanted.length === 1 ? 'null' : `split=${wanted.length}`}${wanted.map((pad) => `[${pad}]`).join('')}`,
    ...(tap?.chains ?? []),
    ...samples,
  ].join(';');
}

/** `tracks`: how many sound tracks the file has; those beyond are not listened to. */
export function witnessOf(outcome: Outcome, trail: SourceTrail | null, tracks: number): Witness {
  const args: string[] = [];
  const pipes: ((stream: Readable) => Promise<void>)[] = [];
  const add = (options: readonly string[], read: (stream: Readable) => Promise<void>): void => {
    args.push(...options, `pipe:${FIRST_PIPE + pipes.length}`);
    pipes.push(read);
  };

  const collector = new TrailCollector();
  const tap =
    outcome.proof === undefined
      ? null
      : pictureTap('shown', {
          pixelFormat: outcome.pixelFormat,
          size: outcome.proof.framing.scaled,
          earlierField: keptField(outcome),
          framing: outcome.proof.framing,
        });
  if (tap !== null) {
    add(rawPictures('luma'), (stream) => collector.luma.read(stream));
    if (tap.hasColour) add(rawPictures('colour'), (stream) => collector.colour.read(stream));
  }

  const listeners = outcome.audio.map((track, index) => {
    const expected = trail === null || index >= tracks ? null : expectedSound(outcome, index, trail);
    const source = trail?.sounds[track.sourceTrack] ?? null;
    return expected === null || source === null
      ? null
      : new SoundListener(source, { channels: track.channels, sampleRate: track.sampleRate }, expected);
  });
  listeners.forEach((listener, index) => {
    if (listener !== null) add(rawSound(`0:a:${index}`), (stream) => listen(listener, stream));
  });

  let pictures: Buffer = Buffer.alloc(0);
  const exactSounds: (string | null)[] = outcome.audio.map(() => null);
  if (outcome.exact !== undefined) {
    add(pictureHashes('exact-samples'), async (stream) => {
      pictures = await readPictureHashes(stream);
    });
    for (const [index, { codec }] of outcome.audio.slice(0, tracks).entries()) {
      add(soundHash(`0:a:${index}`, codec), async (stream) => {
        exactSounds[index] = await readSoundHash(stream);
      });
    }
  }

  let payload: Payload = { streams: [] };
  const comparable = outcome.codec === 'h264' ? ['-bsf:v', payloadFilters.h264.ofFile] : [];
  add(payloadOptions(['0:v', '0:a?'], comparable), async (stream) => {
    payload = await readPayload(stream);
  });

  return {
    graph: graphOf(outcome, tap),
    args,
    pipes,
    facts: () => ({
      picture: tap === null ? null : collector.trail(keptField(outcome) === null ? 1 : 2, tap.hasColour),
      sounds: listeners.map((listener) => (listener === null ? null : heard(listener))),
      payload,
      exact:
        outcome.exact === undefined
          ? null
          : { pixelFormat: outcome.exact.comparedIn, pictures, sounds: exactSounds },
    }),
  };
}

async function listen(listener: SoundListener, stream: Readable): Promise<void> {
  for await (const chunk of stream) listener.take(chunk as Buffer);
}

/** Sound that ends within a sample is torn: another check says why. */
function heard(listener: SoundListener): HeardSound | null {
  try {
    return listener.end();
  } catch (error) {
    if (error instanceof RangeError) return null;
    throw error;
  }
}
