/** One clip as OpenTimelineIO has it: what was made of it and its source, each with the frames that it has, and what is known of it. Pure. */
import { printable } from '../../files/names.ts';
import { formatRatio, type Rate } from '../../media/time/rate.ts';
import { formatTimecode, type Timecode } from '../../media/time/timecode.ts';
import { sourceNamesOf } from '../../profiles/master/source-name.ts';
import { type Counting, countingOfSource, cutOf, reelOfClip } from '../counting.ts';
import type { DayClip, DayDeliverable } from '../day.ts';
import { startOfSound } from '../sound.ts';
import { urlFromHandover } from '../url.ts';
import { type Json, plainJson } from './json.ts';
import {
  clip as clipObject,
  externalReference,
  imageSequence,
  missingReference,
  type ReferenceParts,
  timeRange,
} from './objects.ts';

/** Where the library looks when nobody names a reference. */
export const DEFAULT_KEY = 'DEFAULT_MEDIA';
export const SOURCE_KEY = 'source';
export const keyOf = ({ use, profile }: Pick<DayDeliverable, 'use' | 'profile'>): string =>
  `${use}:${profile}`;

const timecodeJson = (start: Timecode | null, from: string | null): Json =>
  start === null
    ? null
    : { label: formatTimecode(start), frame: start.frame, base: start.base, drop: start.drop, from };
const rateJson = (rate: Rate | null): Json => (rate === null ? null : formatRatio(rate));

/** What it starts at and how it runs; a deliverable without timecode counts from 0. */
const rangeOf = ({ start, frames, rate }: DayDeliverable): Json => timeRange(start?.frame ?? 0, frames, rate);

/** `lean`: only what leads a frame back to its source. */
function deliverableReference(made: DayDeliverable, { stretch }: DayClip, lean: boolean): Json {
  // Its first frame, counted in the source: 0 but of a pull.
  const from = stretch === null ? {} : { first_source_frame: stretch.start };
  const { profile, use, reel, start, timecodeFrom, cadence, rate, file, numbered, width, height, codec } =
    made;
  const parts: ReferenceParts = {
    name: profile,
    metadata: lean
      ? { reel, grid: plainJson(cadence.constant), split: plainJson(cadence.split), ...from }
      : {
          use,
          profile,
          reel,
          timecode: timecodeJson(start, timecodeFrom),
          rate: rateJson(rate),
          slower: rateJson(cadence.offSpeed?.slower ?? null),
          grid: plainJson(cadence.constant),
          split: plainJson(cadence.split),
          ...from,
          width,
          height,
          codec,
          text_in_picture: made.burntIn,
          bytes: file?.bytes ?? 0,
          sha256: file?.sha256 ?? null,
          amf: made.amf === null ? null : urlFromHandover(made.amf.path),
        },
    range: rangeOf(made),
  };
  const url = urlFromHandover(file?.path ?? '');
  if (numbered === null) return externalReference(parts, url);
  const { stem, first, digits, extension } = numbered;
  return imageSequence(parts, {
    base: `${url}/`,
    prefix: `${stem}.`,
    suffix: `.${extension}`,
    first,
    digits,
    rate,
  });
}

/** The source stays with whoever shot it: it is named, with all that is needed to find each of its frames, and no place is claimed for it. */
function sourceReference(clip: DayClip, cut: DayDeliverable | null, lean: boolean): Json {
  const { recorded, source } = clip;
  if (recorded === null) throw new RangeError(`${clip.name}: a source that nobody measured`);
  const counting: Counting | null = countingOfSource(recorded, cut?.rate ?? null);
  const names = sourceNamesOf(source.place, { parts: [...recorded.parts] });
  return missingReference({
    name: printable(source.files[0] ?? clip.name),
    metadata: {
      reel: recorded.reel,
      frames: recorded.frames,
      files: plainJson(names),
      ...(lean
        ? {}
        : {
            camera_reel: recorded.cameraReel,
            timecode: timecodeJson(recorded.start, recorded.timecodeFrom),
            rate: rateJson(recorded.rate),
            bytes: source.bytes,
            content_digest: source.contentDigest,
          }),
    },
    range: timeRange(counting?.start.frame ?? 0, recorded.frames, counting?.rate ?? recorded.rate),
  });
}

/** What of a recording is carried by what is cut; null: nothing. */
function productionJson(cut: DayDeliverable | null): Json {
  if (cut?.production == null) return null;
  const { roll, files, form, names, laidBy, startSamples, driftMillionths, ...track } = cut.production;
  return {
    roll,
    files: [...files],
    form,
    tracks: [...names],
    start: startSamples,
    start_by: laidBy,
    drift_millionths_taken_out: driftMillionths,
    sample_rate: track.sampleRate,
    covered: { from: track.covered.from, to: track.covered.to },
    silent: track.silent,
  };
}

function ours(clip: DayClip, cut: DayDeliverable | null): { readonly [name: string]: Json } {
  const { recorded, way, shown, findings } = clip;
  return {
    roll: clip.roll,
    clip: clip.id,
    camera: clip.camera,
    camera_letter: clip.cameraLetter,
    reel: reelOfClip(clip, cut),
    timecode: timecodeJson(recorded?.start ?? null, recorded?.timecodeFrom ?? null),
    rates: {
      native: rateJson(recorded?.rate ?? null),
      project: rateJson(recorded?.projectRate ?? null),
      factor: rateJson(recorded?.factor ?? null),
      played: rateJson(cut?.rate ?? null),
    },
    scene: clip.scene,
    take: clip.take,
    sound: {
      file: recorded?.soundFile ?? null,
      tracks: (recorded?.audio ?? []).map(
        ({ codec, sampleRate, channels, layout, samples, startOffset }) => ({
          codec,
          sample_rate: sampleRate,
          channels,
          layout,
          samples,
          start_offset: startOffset,
        }),
      ),
      carried: productionJson(cut),
      recordings: clip.sounds.map((sound) => ({
        roll: sound.roll,
        files: [...sound.files],
        sample_rate: sound.sampleRate,
        start: startOfSound(sound),
        start_by: sound.heard === null ? 'timecode' : 'content',
        start_by_timecode: sound.startSamples,
        drift_millionths: sound.heard?.driftMillionths ?? null,
        overlap: sound.overlapSamples,
        scene: sound.scene,
        take: sound.take,
        note: sound.note,
        tracks: sound.tracks.map(({ channel, name }) => ({ channel, name })),
      })),
    },
    look: { shown: [...shown], way: plainJson(way) },
    recorded_at: recorded?.createdAt ?? null,
    notes: findings.map(({ code, found, expected }) => ({ code, found, expected })),
  };
}

/** `lean`: what an editing program needs to find the media, without what the bin says besides. */
export function otioClip(clip: DayClip, lean = false): Json {
  const cut = cutOf(clip);
  const references: Record<string, Json> = {};
  if (cut !== null) references[DEFAULT_KEY] = deliverableReference(cut, clip, lean);
  for (const made of lean ? [] : clip.deliverables)
    if (made !== cut && made.file !== null) references[keyOf(made)] = deliverableReference(made, clip, lean);
  if (clip.recorded !== null) references[SOURCE_KEY] = sourceReference(clip, cut, lean);
  return clipObject(
    {
      name: printable(clip.name),
      metadata: lean ? { roll: clip.roll, clip: clip.id, reel: reelOfClip(clip, cut) } : ours(clip, cut),
    },
    references,
    cut === null ? SOURCE_KEY : DEFAULT_KEY,
  );
}
