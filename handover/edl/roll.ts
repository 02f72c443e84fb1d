/** The lists of a roll: one for each counting that its clips are cut in, and a further one where events no longer have numbers. Pure. */
import { basename } from 'node:path';
import { formatRatio } from '../../media/time/rate.ts';
import { cutOf, reelOfClip } from '../counting.ts';
import type { DayClip, DayDeliverable, DayRoll } from '../day.ts';
import { type Edl, type EdlEvent, GREATEST_BASE, MOST_EVENTS } from './write.ts';

export interface AmfNamed {
  readonly name: string;
  readonly uuid: string;
}

export interface EdlsRequest {
  readonly roll: DayRoll;
  /** Of every reel of the day (reels.ts). */
  readonly reels: ReadonlyMap<string, string>;
  /** The ACES Metadata File that is handed over for a clip; null: none. */
  readonly amfOf: (clip: DayClip) => AmfNamed | null;
}

export interface NamedEdl {
  /** `29.97df`, `24`, with `-2` and so on behind it for further ones. */
  readonly counting: string;
  readonly edl: Edl;
}

export interface RollEdls {
  readonly edls: readonly NamedEdl[];
  /** Clips that no list can hold, and why. */
  readonly left: readonly { readonly clip: DayClip; readonly why: string }[];
}

/** 23.98 for 24000/1001: two places, as people write it. */
function countingName({ rate, start }: Pick<DayDeliverable, 'rate' | 'start'>): string {
  const decimal = rate.den === 1 ? String(rate.num) : (rate.num / rate.den).toFixed(2);
  return `${decimal}${start?.drop === true ? 'df' : ''}`;
}

export function edlsOf({ roll, reels, amfOf }: EdlsRequest): RollEdls {
  const left: RollEdls['left'][number][] = [];
  const countings = new Map<string, { cut: DayDeliverable; events: EdlEvent[] }>();
  for (const clip of roll.clips) {
    const cut = cutOf(clip);
    if (cut === null || cut.start === null || cut.start.base > GREATEST_BASE) {
      const why =
        cut?.start == null ? 'no timecode' : `${cut.start.base} frames in a second of timecode, 100 at most`;
      left.push({ clip, why });
      continue;
    }
    const name = countingName(cut);
    const counting = countings.get(name) ?? { cut, events: [] };
    countings.set(name, counting);
    counting.events.push(eventOf(clip, cut, { reels, amfOf }));
  }
  return {
    left,
    edls: [...countings].flatMap(([name, { cut, events }]) =>
      Array.from({ length: Math.ceil(events.length / MOST_EVENTS) }, (_, part) => ({
        counting: part === 0 ? name : `${name}-${part + 1}`,
        edl: {
          title: roll.roll,
          rate: cut.rate,
          base: cut.start?.base ?? 0,
          drop: cut.start?.drop ?? false,
          events: events.slice(part * MOST_EVENTS, (part + 1) * MOST_EVENTS),
        },
      })),
    ),
  };
}

function eventOf(
  clip: DayClip,
  cut: DayDeliverable,
  { reels, amfOf }: Pick<EdlsRequest, 'reels' | 'amfOf'>,
): EdlEvent {
  const fullReel = reelOfClip(clip, cut);
  const { offSpeed, constant, split } = cut.cadence;
  const start = cut.start;
  if (start === null) throw new RangeError(`${clip.name} without timecode`);
  return {
    reel: reels.get(fullReel) ?? 'AX',
    fullReel,
    clipName: clip.name,
    file: basename(cut.file?.path ?? clip.name),
    sound: cut.audioTracks > 0,
    start,
    frames: cut.frames,
    offSpeed,
    cdl: clip.way?.cdl?.values ?? null,
    amf: amfOf(clip),
    scene: clip.scene,
    take: clip.take,
    remarks: [
      ...(constant === null
        ? []
        : [
            `RATE MADE CONSTANT AT ${formatRatio(cut.rate)}: ${constant.repeated.length} FRAMES SHOWN MORE THAN ONCE, ${constant.leftOut.length} LEFT OUT`,
          ]),
      // No M2: time goes by as it was recorded, counted in fields.
      ...(split === null
        ? []
        : [
            `EACH FIELD IS A FRAME, ${split.earlier.toUpperCase()} FIELD FIRST: FRAMES 2N AND 2N + 1 ARE OF FRAME N OF THE SOURCE`,
          ]),
    ],
  };
}
