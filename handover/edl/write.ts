/**
 * Lists in the CMX 3600 form, as far as SMPTE ST 258 goes: events of eight-character reels, cuts, FCM, M2 and comments. The form has no place for a rate,
 * so that each list is of one counting alone, named in its comments and its file's name. Pure.
 */
import { printable } from '../../files/names.ts';
import type { Cdl } from '../../media/colour/cdl.ts';
import { formatRatio, type Rate } from '../../media/time/rate.ts';
import type { Timecode } from '../../media/time/timecode.ts';
import { labelAt } from '../counting.ts';

export interface EdlEvent {
  /** At most eight characters (reels.ts), and the reel's own name. */
  readonly reel: string;
  readonly fullReel: string;
  readonly clipName: string;
  /** Of the media that is cut, without folders. */
  readonly file: string;
  readonly sound: boolean;
  readonly start: Timecode;
  readonly frames: number;
  /** Of frames that are played at another rate than they were recorded at. */
  readonly offSpeed: { readonly captured: Rate; readonly slower: Rate } | null;
  readonly cdl: Cdl | null;
  readonly amf: { readonly name: string; readonly uuid: string } | null;
  readonly scene: string | null;
  readonly take: string | null;
  /** Further lines of comment, in words. */
  readonly remarks: readonly string[];
}

export interface Edl {
  readonly title: string;
  readonly rate: Rate;
  readonly base: number;
  readonly drop: boolean;
  readonly events: readonly EdlEvent[];
}

/** Numbers of events have three digits. */
export const MOST_EVENTS = 999;
/** Frames of a label have two digits. */
export const GREATEST_BASE = 100;
const HOUR_LABEL = 3600;

/** Comments are lines: nothing in a name ends one. */
const plain = (text: string): string => printable(text).replaceAll(/\s+/g, ' ').trim();

/** Where the record begins: 01:00:00:00 of the counting. */
function recordStart({ base, drop }: Pick<Edl, 'base' | 'drop'>): Timecode {
  // 54 of 60 minutes lack labels (SMPTE ST 12-1): two in 30, four in 60.
  return { frame: HOUR_LABEL * base - (drop ? (54 * base) / 15 : 0), base, drop };
}

const number = (value: number): string => String(Number(value.toFixed(6)));
const triple = (values: readonly number[]): string => `(${values.map(number).join(' ')})`;

const speedText = (slower: Rate): string =>
  slower.num < slower.den
    ? `${formatRatio({ num: slower.den, den: slower.num })} TIMES FASTER`
    : `${formatRatio(slower)} TIMES SLOWER`;

function eventLines(event: EdlEvent, at: number, record: readonly [string, string], base: number): string[] {
  const { reel, fullReel, clipName, file, sound, start, frames, offSpeed, cdl, amf, scene, take, remarks } =
    event;
  const source = [labelAt(start, 0), labelAt(start, frames)];
  const channels = sound ? 'AA/V' : 'V';
  return [
    `${String(at).padStart(3, '0')}  ${reel.padEnd(8)} ${channels.padEnd(5)} C        ${source.join(' ')} ${record.join(' ')}`,
    // As many frames of the reel a second as are played: the frames that were recorded faster, one by one.
    ...(offSpeed === null
      ? []
      : [`M2   ${reel.padEnd(8)}       ${`${base}.0`.padStart(5, '0')}                ${source[0]}`]),
    `* FROM CLIP NAME: ${plain(clipName)}`,
    `* SOURCE FILE: ${plain(file)}`,
    ...(reel === fullReel ? [] : [`* REEL ${reel} IS ${plain(fullReel)}`]),
    ...(scene === null ? [] : [`* SCENE: ${plain(scene)}`]),
    ...(take === null ? [] : [`* TAKE: ${plain(take)}`]),
    ...(offSpeed === null
      ? []
      : [
          `* RECORDED AT ${formatRatio(offSpeed.captured)} FRAMES A SECOND, ${speedText(offSpeed.slower)} HERE: EACH FRAME IS ONE FRAME`,
        ]),
    ...remarks.map((text) => `* ${plain(text)}`),
    ...(cdl === null
      ? []
      : [
          `*ASC_SOP ${triple(cdl.slope)} ${triple(cdl.offset)} ${triple(cdl.power)}`,
          `*ASC_SAT ${number(cdl.saturation)}`,
        ]),
    ...(amf === null ? [] : [`* AMF_NAME ${plain(amf.name)}`, `* AMF_UUID ${amf.uuid}`]),
  ];
}

/** Lines end in CR LF. Throws RangeError for more events than their numbers can count, and for labels that have no two digits of frames. */
export function edlText({ title, rate, base, drop, events }: Edl): string {
  if (events.length > MOST_EVENTS) throw new RangeError(`${events.length} events, ${MOST_EVENTS} at most`);
  if (base > GREATEST_BASE) throw new RangeError(`base ${base}: frames have two digits`);
  const lines = [
    // 70 characters is what the form gives a title.
    `TITLE: ${plain(title).slice(0, 70)}`,
    `FCM: ${drop ? 'DROP FRAME' : 'NON-DROP FRAME'}`,
    `* ${formatRatio(rate)} FRAMES A SECOND`,
  ];
  const start = recordStart({ base, drop });
  let played = 0;
  for (const [index, event] of events.entries()) {
    const record = [labelAt(start, played), labelAt(start, played + event.frames)] as const;
    lines.push(...eventLines(event, index + 1, record, base));
    played += event.frames;
  }
  return `${lines.join('\r\n')}\r\n`;
}
