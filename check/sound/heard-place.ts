/**
 * Whether a recording lies where the survey laid it by what both heard: the checker's own hearing of it, at other places of the take, from decodes of its own, and by other arithmetic.
 */
import { open } from 'node:fs/promises';
import { join } from 'node:path';
import { fsPath } from '../../files/names.ts';
import { type Finding, type FindingSubject, finding } from '../../findings/finding.ts';
import type { ClipFacts, RecordedTrack } from '../../media/facts.ts';
import type { MediaTools } from '../../process/locate.ts';
import { type FoundPlace, placeOf } from './alike.ts';
import { interpolated, REACH } from './interpolate.ts';
import { type HeardPart, ownAudio } from './own-audio.ts';
import { channelsFrom } from './samples.ts';
import { waveForm } from './wave.ts';

/** Seconds around the place that are looked at as well: farther than the edges of words and strikes repeat. */
const AROUND_SECONDS = 0.5;
/**
 * From here on two sounds are the same: so alike, and so many times as alike as anywhere else. Measured: beside as much noise as sound 0.18 and 2.2 times; other strikes 0.11 and 1.5
 * (test/check/heard-place.test.ts).
 */
const ALIKE = 0.13;
const TIMES_ELSEWHERE = 1.7;
/** Ways to microphones differ by some tens of centimetres over a take, and a container's clock by a millisecond. */
const BESIDE_SECONDS = 0.001;
/** That a place is within a millisecond of where it was laid happens by chance once in 500, of two once in 250 000: more need not be asked of what is most alike there, a tone for one. */
const LEAST_PLACES = 2;

export interface PlaceRequest {
  readonly rollFolder: string;
  readonly soundRolls: readonly { readonly roll: string; readonly folder: string }[];
  readonly facts: ClipFacts;
  /** File of the clip, where it is one movie. */
  readonly file: string | null;
  readonly tools: Pick<MediaTools, 'ffmpeg'>;
  readonly signal: AbortSignal;
  readonly subject: FindingSubject;
}

/** Of what was heard, for people. */
const MOST_LISTED = 6;

interface Hearing {
  /** Sample of the clip. */
  readonly at: number;
  readonly found: FoundPlace;
}

const isSure = ({ alike, elsewhere }: FoundPlace): boolean =>
  alike >= ALIKE && alike >= TIMES_ELSEWHERE * elsewhere;

/** null: it lies there, or was not laid by content. Throws what reading throws. */
export async function heardInPlace(request: PlaceRequest): Promise<Finding | null> {
  const { facts, soundRolls, subject } = request;
  const index = facts.audio.findIndex(({ recording }) => recording === undefined);
  const clip = facts.audio[index];
  const laid = facts.audio.flatMap(({ recording, sampleRate }) =>
    recording?.laidBy === 'content' ? [{ recording, sampleRate }] : [],
  );
  const [first] = laid;
  if (first === undefined) return null;
  const { recording, sampleRate } = first;
  const of = { ...subject, file: recording.file };
  const folder = soundRolls.find(({ roll }) => roll === recording.roll)?.folder;
  if (clip === undefined || folder === undefined)
    return finding('sound-place-differs', 'no audio of the clip to hear it by', 'what both heard', of);
  const { frames, rate } = facts.video;
  const end = Math.floor((frames * rate.den * clip.sampleRate) / rate.num);
  const begins = (recording.startSamples * clip.sampleRate) / sampleRate;
  const parts = await ownAudio({ ...request, index }, { from: Math.max(0, Math.ceil(begins)), to: end });
  const files = [...new Set(laid.map((one) => one.recording.file))];
  const isThere = ({ later }: FoundPlace): boolean => Math.abs(later) <= BESIDE_SECONDS * clip.sampleRate;
  const heard: Hearing[] = [];
  // The channels of a file are one sound. Of several files one is enough: what was sent by radio is some milliseconds late on its own track, and lies right all the same.
  for (const file of files) {
    const own = await hearingsIn(
      { path: join(folder, file), recording, clipRate: clip.sampleRate },
      parts ?? [],
    );
    const apart = own.filter(({ found }) => isSure(found) && !isThere(found));
    const there = own.filter(({ found }) => isThere(found) && found.alike >= ALIKE);
    if (apart.length === 0 && there.length >= LEAST_PLACES) return null;
    heard.push(...own);
  }
  const apart = heard.filter(({ found }) => isSure(found) && !isThere(found));
  const text = (apart.length > 0 ? apart : heard)
    .slice(0, MOST_LISTED)
    .map(
      ({ at, found }) =>
        `at ${(at / clip.sampleRate).toFixed(2)} s ${((found.later * 1000) / clip.sampleRate).toFixed(2)} ms from there, ${found.alike.toFixed(2)} alike and ${found.elsewhere.toFixed(2)} elsewhere`,
    )
    .join('; ');
  return finding(
    'sound-place-differs',
    text === '' ? 'nothing to hear it by' : text,
    `${recording.startSamples} samples from the first frame, heard within ${1000 * BESIDE_SECONDS} ms of it at ${LEAST_PLACES} places or more`,
    of,
  );
}

interface In {
  readonly path: string;
  readonly recording: RecordedTrack;
  readonly clipRate: number;
}

async function hearingsIn(
  { path, recording, clipRate }: In,
  parts: readonly HeardPart[],
): Promise<Hearing[]> {
  const handle = await open(fsPath(path), 'r');
  try {
    const form = await waveForm(handle);
    if (form === null) return [];
    const channels = Array.from({ length: form.channels }, (_, channel) => channel + 1);
    const step = ((1 + recording.driftMillionths / 1e6) * form.sampleRate) / clipRate;
    const before = Math.round(AROUND_SECONDS * clipRate);
    const heard: Hearing[] = [];
    for (const { at, samples } of parts) {
      const count = 2 * before + samples.length;
      const first = (at - before) * step - recording.startSamples;
      const left = Math.floor(first) - REACH;
      const read = await channelsFrom(
        { handle, form, channels },
        left,
        Math.ceil(count * step) + 2 * REACH + 2,
      );
      const sum = new Float64Array(read[0]?.length ?? 0);
      for (const channel of read)
        for (let sample = 0; sample < sum.length; sample += 1)
          sum[sample] = (sum[sample] as number) + (channel[sample] as number);
      const around = interpolated(sum, { first: first - left, step, count });
      const found = placeOf({ heard: samples, around, before }, clipRate);
      if (found !== null) heard.push({ at, found });
    }
    return heard;
  } finally {
    await handle.close();
  }
}
