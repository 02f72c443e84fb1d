/**
 * Reads a cut from a list in the CMX 3600 form, ours or that of others (SMPTE ST 258 as far as it goes, and what is in use beside it): events of one and of two
 * lines, FCM, M2, and the comments that name clips and reels. A line that begins with a number is an event or a fault; other lines that are not known mean
 * nothing. Pure.
 */
import { basename } from 'node:path';
import { parseRate, type Rate } from '../../media/time/rate.ts';
import { type Cut, type CutFault, type CutUse, type LabelUse, quoted, type SpeedFrom } from './form.ts';

const LABEL = /^\d\d[:;.]\d\d[:;.]\d\d[:;.,]\d{2,3}$/;
/** Sources that are no clip: black, and bars. */
const NO_CLIP: ReadonlySet<string> = new Set(['BL', 'BLACK', 'BARS', 'NONE']);
/** An auxiliary source: it has no reel, and may be named by a comment. */
const NO_REEL = 'AX';

type Changeable = { -readonly [Field in keyof LabelUse]: LabelUse[Field] } & { speeds: SpeedFrom[] };

interface Event {
  readonly number: string;
  readonly line: number;
  readonly reel: string;
  readonly isPicture: boolean;
  /** Frames of a transition into this line; null: a cut. */
  readonly transition: number | null;
  readonly source: Changeable;
  fullReel: string | null;
  clipName: string | null;
  file: string | null;
}

interface Reading {
  readonly events: Event[];
  readonly faults: CutFault[];
  title: string;
  rate: Rate | null;
  drop: boolean;
}

export function cutOfEdl(text: string): Cut {
  const reading: Reading = { events: [], faults: [], title: '', rate: null, drop: false };
  for (const [index, raw] of text
    .replace(/^\uFEFF/, '')
    .split(/\r\n|\n|\r/)
    .entries())
    readLine(reading, raw.trim(), index + 1);
  const { events, faults, title, rate } = reading;
  if (events.length === 0 && faults.length === 0)
    faults.push({
      line: null,
      found: 'no event',
      expected: 'lines such as `001  A001  V  C  01:00:00:00 01:00:02:00 01:00:00:00 01:00:02:00`',
    });
  prolong(events, faults);
  const left = new Map<string, number>();
  const uses: CutUse[] = [];
  for (const event of events) {
    const none = !event.isPicture
      ? 'events of sound alone'
      : NO_CLIP.has(event.reel.toUpperCase())
        ? 'events of black or bars'
        : null;
    if (none === null) uses.push(useOf(event));
    else left.set(none, (left.get(none) ?? 0) + 1);
  }
  // The first line of a transition that shows nothing of its source.
  const shown = uses.filter(
    ({ source }) => source.kind !== 'labels' || source.in !== source.out || source.longer > 0,
  );
  return { form: 'edl', title, rate, uses: shown, left, faults };
}

function readLine(reading: Reading, line: string, at: number): void {
  const { events, faults } = reading;
  const last = events.at(-1);
  if (line.startsWith('TITLE:')) reading.title = line.slice(6).trim();
  else if (line.startsWith('FCM:')) {
    if (/^FCM:\s*NON[- ]?DROP/i.test(line)) reading.drop = false;
    else if (/^FCM:\s*DROP/i.test(line)) reading.drop = true;
    else faults.push({ line: at, found: quoted(line), expected: 'FCM: DROP FRAME or FCM: NON-DROP FRAME' });
  } else if (line.startsWith('*')) commentOf(reading, line.slice(1).trim(), last);
  else if (/^M2(?:\s|$)/.test(line)) speedOf(reading, line, at);
  else if (/^\d/.test(line)) {
    const event = eventOf(line, at, reading.drop);
    if ('found' in event) faults.push(event);
    else events.push(event);
  }
}

/** From behind: four labels, the frames of a transition, its kind, the channels; what is left is the reel, which some write with spaces. */
function eventOf(line: string, at: number, drop: boolean): Event | CutFault {
  const fault = (expected: string): CutFault => ({ line: at, found: quoted(line), expected });
  const parts = line.split(/\s+/);
  const labels = parts.slice(-4);
  if (parts.length < 8 || !labels.every((label) => LABEL.test(label)))
    return fault(
      'an event: number, reel, channels, transition, and source in, source out, record in, record out as HH:MM:SS:FF',
    );
  const [number = '', ...rest] = parts.slice(0, -4);
  const duration = /^\d{1,4}$/.test(rest.at(-1) ?? '') ? Number(rest.pop()) : null;
  let kind = rest.pop() ?? '';
  // Keys are written in one word or in two.
  if (/^[BO]$/.test(kind) && rest.at(-1) === 'K') kind = `${rest.pop()}${kind}`;
  const channels = rest.pop() ?? '';
  const reel = rest.join(' ');
  if (!/^\d+$/.test(number) || reel === '')
    return fault('an event with its number, and a reel in front of the channels');
  if (!/^(?:C|D|W\d{1,3}|K[BO]?)$/.test(kind))
    return fault('a transition of C, D, W with its number, K, KB or KO in front of the labels');
  const isBlend = kind === 'D' || kind.startsWith('W');
  if (isBlend && duration === null) return fault(`the frames that ${kind} lasts, in front of the labels`);
  const [from = '', to = '', recordIn = '', recordOut = ''] = labels;
  return {
    number,
    line: at,
    reel,
    isPicture: /V/i.test(channels) || channels === 'B',
    transition: isBlend ? duration : null,
    source: { kind: 'labels', in: from, out: to, drop, recordIn, recordOut, longer: 0, speeds: [] },
    fullReel: null,
    clipName: null,
    file: null,
  };
}

function speedOf({ events, faults }: Reading, line: string, at: number): void {
  const parts = /^M2\s+(.+?)\s+([+-]?\d+(?:\.\d+)?)\s+(\S+)$/.exec(line);
  const last = events.at(-1);
  const of = events.findLast(({ number, reel }) => number === last?.number && reel === parts?.[1]);
  if (parts === null || !LABEL.test(parts[3] ?? '')) {
    faults.push({
      line: at,
      found: quoted(line),
      expected: 'M2, the reel, frames a second, and the label of the source from which on',
    });
    return;
  }
  if (of === undefined) {
    faults.push({
      line: at,
      found: `M2 of the reel ${quoted(parts[1] ?? '')}`,
      expected: `a line of an event of that reel before it${last === undefined ? '' : `, which is ${quoted(last.reel)}`}`,
    });
    return;
  }
  of.source.speeds.push({ framesPerSecond: Number(parts[2]), from: parts[3] ?? null });
}

function commentOf(reading: Reading, text: string, last: Event | undefined): void {
  const after = (head: RegExp): string | null => {
    const found = head.exec(text);
    const value = found === null ? '' : text.slice(found[0].length).trim();
    return value === '' ? null : value;
  };
  const stated = /^(\S+) FRAMES A SECOND$/i.exec(text)?.[1];
  if (last === undefined) {
    if (stated !== undefined) reading.rate = rateIn(stated) ?? reading.rate;
    return;
  }
  const before = reading.events.at(-2);
  // Of an event of two lines: what is left comes from the first, and goes over to the second.
  const outgoing = last.transition !== null && before?.number === last.number ? before : null;
  const name = after(/^FROM CLIP NAME:/i);
  if (name !== null) {
    if (outgoing !== null && outgoing.clipName === null) outgoing.clipName = name;
    else last.clipName = name;
  }
  last.clipName = after(/^TO CLIP NAME:/i) ?? last.clipName;
  const file = after(/^SOURCE FILE(?: NAME)?:/i);
  if (file !== null) last.file = basename(file.replaceAll('\\', '/'));
  if (/^FREEZE FRAME\b/i.test(text) && last.source.speeds.length === 0)
    last.source.speeds.push({ framesPerSecond: 0, from: null });
  const whole = /^REEL\s+(\S+)\s+IS\s+(.+)$/i.exec(text);
  if (whole !== null)
    for (const event of reading.events)
      if (event.number === last.number && event.reel === whole[1]) event.fullReel = whole[2]?.trim() ?? null;
}

function rateIn(text: string): Rate | null {
  try {
    return parseRate(text);
  } catch (error) {
    if (error instanceof RangeError) return null;
    throw error;
  }
}

/** What a transition leaves is seen on until it is over: the first line of its event, or the event before it, which ends where this one begins. */
function prolong(events: readonly Event[], faults: CutFault[]): void {
  const pictures = events.filter(({ isPicture }) => isPicture);
  for (const [index, event] of pictures.entries()) {
    const { transition, source, line, number } = event;
    if (transition === null || transition === 0) continue;
    const before = pictures[index - 1];
    const leaves =
      before !== undefined && (before.number === number || before.source.recordOut === source.recordIn)
        ? before
        : null;
    if (leaves === null)
      faults.push({
        line,
        found: `event ${number}, a transition that nothing leads to`,
        expected: 'a line before it that ends where it begins: a clip, or BL for black',
      });
    else leaves.source.longer = Math.max(leaves.source.longer, transition);
  }
}

function useOf({ number, line, reel, fullReel, clipName, file, source }: Event): CutUse {
  return {
    at: `event ${number}, line ${line}`,
    line,
    names: clipName === null ? [] : [clipName],
    files: file === null ? [] : [file],
    reels: [fullReel, reel].filter((name): name is string => name !== null && name !== NO_REEL),
    ours: null,
    source,
  };
}
