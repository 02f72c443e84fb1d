/**
 * The log of a day as a table of comma-separated values (RFC 4180): UTF-8, lines that end in CR LF, a line of names first. No cell begins with a character
 * that a spreadsheet takes for a formula. Columns: docs/handover.md. Pure.
 */
import { productionText } from '../profiles/outcome/production.ts';
import { printable } from '../files/names.ts';
import { formatRatio, type Rate } from '../media/time/rate.ts';
import { formatTimecode, type Timecode } from '../media/time/timecode.ts';
import { cutOf, labelAt, reelOfClip } from './counting.ts';
import type { DayClip, DayDeliverable, DayRoll } from './day.ts';
import { cameraOfClip } from './day-clock.ts';
import { startOfSound } from './sound.ts';

interface Column {
  readonly name: string;
  /** For docs/handover.md. */
  readonly says: string;
  readonly of: (clip: DayClip, cut: DayDeliverable | null) => string;
}

const rate = (value: Rate | null | undefined): string => (value == null ? '' : formatRatio(value));
const label = (start: Timecode | null | undefined): string => (start == null ? '' : formatTimecode(start));

/** `1/2 s`: exact seconds are a fraction; people read a decimal. */
const seconds = (frames: number, { num, den }: Rate): string => ((frames * den) / num).toFixed(3);

const numbers = (values: readonly number[]): string => values.join(' ');
const paths = (clip: DayClip, use: DayDeliverable['use']): string =>
  clip.deliverables
    .flatMap((made) => (made.use === use && made.file !== null ? [made.file.path] : []))
    .join('; ');

/** No cell begins with a sign. */
const startText = (samples: number): string =>
  samples === 0 ? 'with it' : `${Math.abs(samples)} ${samples < 0 ? 'before' : 'after'}`;

/** Those whose text depends on what else is handed over. */
export interface LogNotes {
  readonly amf: (clip: DayClip) => string;
}

const columnsOf = ({ amf }: LogNotes): readonly Column[] => [
  { name: 'roll', says: 'Name of the roll', of: ({ roll }) => roll },
  { name: 'clip', says: 'Name of the clip, as the camera gave it', of: ({ name }) => name },
  { name: 'camera', says: 'Camera of the settings, else the letters of the roll', of: cameraOfClip },
  {
    name: 'scene',
    says: "Scene, where the clip's own tags say it, or the recorder of the sound that ran with it",
    of: ({ scene }) => scene ?? '',
  },
  { name: 'take', says: 'Take, likewise', of: ({ take }) => take ?? '' },
  { name: 'reel', says: 'Reel that the proxies carry', of: (clip, cut) => reelOfClip(clip, cut) },
  {
    name: 'start',
    says: 'Timecode of the first frame of what is cut; `;` before the frames: drop-frame',
    of: (_, cut) => label(cut?.start),
  },
  {
    name: 'end',
    says: 'Timecode behind the last frame',
    of: (_, cut) => (cut?.start == null ? '' : labelAt(cut.start, cut.frames)),
  },
  { name: 'frames', says: 'Frames of what is cut', of: (_, cut) => String(cut?.frames ?? '') },
  {
    name: 'seconds',
    says: 'How long it plays',
    of: (_, cut) => (cut === null ? '' : seconds(cut.frames, cut.rate)),
  },
  { name: 'played_rate', says: 'Frames a second of what is cut, exact', of: (_, cut) => rate(cut?.rate) },
  { name: 'recorded_rate', says: 'Frames a second as recorded', of: ({ recorded }) => rate(recorded?.rate) },
  {
    name: 'project_rate',
    says: 'Frames a second of the project; empty: not stated',
    of: ({ recorded }) => rate(recorded?.projectRate),
  },
  {
    name: 'slower',
    says: 'How many times slower it plays than it was recorded; empty: as recorded',
    of: (_, cut) => rate(cut?.cadence.offSpeed?.slower),
  },
  {
    name: 'fields',
    says: 'Where each field of the source is a frame of its own: which one of them comes first in each frame; empty: others',
    of: (_, cut) => cut?.cadence.split?.earlier ?? '',
  },
  {
    name: 'source_start',
    says: 'Timecode of the first frame as the source has it',
    of: ({ recorded }) => label(recorded?.start),
  },
  {
    name: 'source_frames',
    says: 'Frames of the source',
    of: ({ recorded }) => String(recorded?.frames ?? ''),
  },
  {
    name: 'source_files',
    says: 'Names of its files; of numbered frames the first and the last',
    of: ({ source }) => source.files.join('; '),
  },
  { name: 'source_bytes', says: 'Their size', of: ({ source }) => String(source.bytes) },
  {
    name: 'width',
    says: 'Of the upright source, pixels',
    of: ({ recorded }) => String(recorded?.width ?? ''),
  },
  { name: 'height', says: 'The same', of: ({ recorded }) => String(recorded?.height ?? '') },
  { name: 'codec', says: 'Of the source', of: ({ recorded }) => recorded?.codec ?? '' },
  { name: 'audio_tracks', says: 'Of the source', of: ({ recorded }) => String(recorded?.audio.length ?? '') },
  {
    name: 'sound',
    says: 'Recordings of sound rolls that ran with it: roll and first file',
    of: ({ sounds }) => sounds.map(({ roll, files }) => `${roll}/${files[0] ?? ''}`).join('; '),
  },
  {
    name: 'sound_start',
    says: 'Where each begins against the first frame of the clip, in its samples, by what both heard where they were compared',
    of: ({ sounds }) => sounds.map((sound) => startText(startOfSound(sound))).join('; '),
  },
  {
    name: 'production_sound',
    says: 'What of a recording is carried by what is cut, by what it was laid, and what of it is silent; empty: nothing',
    of: (_, cut) => (cut?.production == null ? '' : productionText(cut.production)),
  },
  {
    name: 'recorded_at',
    says: "When, by the camera's clock (ISO 8601)",
    of: ({ recorded }) => recorded?.createdAt ?? '',
  },
  { name: 'shown', says: 'The colour way of the proxies, in words', of: ({ shown }) => shown.join('; ') },
  {
    name: 'cdl_slope',
    says: 'Slope of the CDL, red, green and blue; empty: no CDL',
    of: ({ way }) => (way?.cdl == null ? '' : numbers(way.cdl.values.slope)),
  },
  {
    name: 'cdl_offset',
    says: 'Its offset',
    of: ({ way }) => (way?.cdl == null ? '' : numbers(way.cdl.values.offset)),
  },
  {
    name: 'cdl_power',
    says: 'Its power',
    of: ({ way }) => (way?.cdl == null ? '' : numbers(way.cdl.values.power)),
  },
  {
    name: 'cdl_saturation',
    says: 'Its saturation',
    of: ({ way }) => (way?.cdl == null ? '' : String(way.cdl.values.saturation)),
  },
  { name: 'look', says: 'File of the look', of: ({ way }) => way?.look?.file ?? '' },
  { name: 'proxies', says: "Below the day's folder", of: (clip) => paths(clip, 'proxy') },
  { name: 'masters', says: 'The same', of: (clip) => paths(clip, 'master') },
  { name: 'archives', says: 'The same', of: (clip) => paths(clip, 'archive') },
  { name: 'amf', says: 'Its ACES Metadata File, or why there is none', of: (clip) => amf(clip) },
  {
    name: 'notes',
    says: 'Codes of what was noted (`rushlight explain <code>`)',
    of: ({ findings }) => [...new Set(findings.map(({ code }) => code))].join(' '),
  },
];

/** For docs/handover.md. */
export const logColumns: readonly Pick<Column, 'name' | 'says'>[] = columnsOf({ amf: () => '' }).map(
  ({ name, says }) => ({ name, says }),
);

/** What spreadsheets begin a formula with (common practice; tab and line ends are stripped by some of them first), the full-width forms as well. */
const FORMULA = /^[=+\-@\t\r\n＝＋－＠]/;

/** An apostrophe in front makes text of it; RFC 4180 quotes what has commas, quotes or line ends. */
export function csvCell(text: string): string {
  const safe = printable(text);
  const told = FORMULA.test(safe) ? `'${safe}` : safe;
  return /[",\r\n]/.test(told) ? `"${told.replaceAll('"', '""')}"` : told;
}

export function* logPieces(rolls: readonly DayRoll[], notes: LogNotes): Generator<string> {
  const columns = columnsOf(notes);
  yield `${columns.map(({ name }) => name).join(',')}\r\n`;
  for (const { clips } of rolls)
    for (const clip of clips) {
      const cut = cutOf(clip);
      yield `${columns.map(({ of }) => csvCell(of(clip, cut))).join(',')}\r\n`;
    }
}
