/**
 * Reads lists in the CMX 3600 form, ours and those of others: events with cuts, FCM, M2 and the comments that name clips. The form has no rate: whoever
 * reads one says it. Pure.
 */
import { type Rate, timecodeBase } from '../../media/time/rate.ts';
import { framesPerDay, mayDrop, parseTimecode, type Timecode } from '../../media/time/timecode.ts';

export class EdlError extends Error {
  constructor(line: number, what: string) {
    super(`line ${line}: ${what}`);
    this.name = 'EdlError';
  }
}

export interface ReadEvent {
  readonly number: number;
  readonly reel: string;
  /** What a comment says that this reel is called; else the reel as it stands. */
  readonly fullReel: string;
  readonly channels: string;
  readonly transition: string;
  readonly sourceIn: Timecode;
  readonly recordIn: Timecode;
  /** Frames of source and record; a label that is not after the first is of the next day. */
  readonly sourceFrames: number;
  readonly recordFrames: number;
  readonly clipName: string | null;
  readonly file: string | null;
  /** Of an M2 line: frames a second. */
  readonly speed: number | null;
}

export interface ReadEdl {
  readonly title: string;
  readonly events: readonly ReadEvent[];
}

const EVENT =
  /^(\d{3,6})\s+(\S+)\s+(\S+)\s+(C|D|W\d{3}|KB?|K\s*O)\s+(?:(\d{3})\s+)?(\S+)\s+(\S+)\s+(\S+)\s+(\S+)\s*$/;
const M2 = /^M2\s+(\S+)\s+(-?\d+(?:\.\d+)?)\s+(\S+)\s*$/;
const COMMENT = /^\*\s*(.*)$/;

type Changeable = { -readonly [Field in keyof ReadEvent]: ReadEvent[Field] };

/** Labels that run to midnight end at 00:00:00:00. */
function between(from: Timecode, to: Timecode): number {
  const day = framesPerDay(from.base, from.drop);
  return (to.frame - from.frame + day) % day;
}

/** Throws EdlError. `rate`: that its labels count in. */
export function readEdl(text: string, rate: Rate): ReadEdl {
  let title = '';
  let drop = false;
  const events: Changeable[] = [];
  for (const [index, raw] of text.split(/\r\n|\n|\r/).entries()) {
    const line = raw.trim();
    const at = index + 1;
    const event = EVENT.exec(line);
    const last = events.at(-1);
    if (line === '') continue;
    if (line.startsWith('TITLE:')) title = line.slice(6).trim();
    else if (line.startsWith('FCM:')) drop = dropOf(line, rate, at);
    else if (event !== null) events.push(eventOf(event, { rate, drop, at }));
    else if (line.startsWith('M2')) speedOf(line, last, at);
    else if (line.startsWith('*') && last !== undefined) commentOf(line, last);
    else if (/^\d{3}/.test(line)) throw new EdlError(at, 'an event that is none of the form');
  }
  return { title, events };
}

function dropOf(line: string, rate: Rate, at: number): boolean {
  const drop = /^FCM:\s*DROP/.test(line);
  if (!drop && !/^FCM:\s*NON[- ]DROP/.test(line)) throw new EdlError(at, 'an FCM that is none of the form');
  if (drop && !mayDrop(rate)) throw new EdlError(at, 'drop-frame at a rate that has none');
  return drop;
}

function eventOf(
  [, number, reel, channels, transition, , ...labels]: RegExpExecArray,
  { rate, drop, at }: { readonly rate: Rate; readonly drop: boolean; readonly at: number },
): Changeable {
  const label = (text: string | undefined): Timecode => {
    const parts = /^(\d\d)[:;](\d\d)[:;](\d\d)([:;.,])(\d\d)$/.exec(text ?? '');
    if (parts === null) throw new EdlError(at, `no label: ${text ?? ''}`);
    // A semicolon marks drop-frame whatever FCM says; a colon takes it from there.
    const marked = parts[4] !== ':' || drop;
    try {
      return parseTimecode(
        `${parts[1]}:${parts[2]}:${parts[3]}${marked ? ';' : ':'}${parts[5]}`,
        marked ? rate : timecodeBase(rate),
      );
    } catch (error) {
      throw new EdlError(at, (error as Error).message);
    }
  };
  const [sourceIn, sourceOut, recordIn, recordOut] = labels.slice(0, 4).map(label) as [
    Timecode,
    Timecode,
    Timecode,
    Timecode,
  ];
  return {
    number: Number(number),
    reel: reel ?? '',
    fullReel: reel ?? '',
    channels: channels ?? '',
    transition: transition ?? '',
    sourceIn,
    recordIn,
    sourceFrames: between(sourceIn, sourceOut),
    recordFrames: between(recordIn, recordOut),
    clipName: null,
    file: null,
    speed: null,
  };
}

function speedOf(line: string, last: Changeable | undefined, at: number): void {
  const parts = M2.exec(line);
  if (parts === null || last === undefined) throw new EdlError(at, 'an M2 line that belongs to no event');
  if (parts[1] !== last.reel)
    throw new EdlError(at, `an M2 line of ${parts[1]} behind an event of ${last.reel}`);
  last.speed = Number(parts[2]);
}

function commentOf(line: string, last: Changeable): void {
  const text = COMMENT.exec(line)?.[1] ?? '';
  const after = (head: string): string | null =>
    text.startsWith(head) ? text.slice(head.length).trim() : null;
  last.clipName = after('FROM CLIP NAME:') ?? last.clipName;
  last.file = after('SOURCE FILE:') ?? last.file;
  last.fullReel = after(`REEL ${last.reel} IS `) ?? last.fullReel;
}
