/**
 * CDLs in an edit list (CMX 3600 as it is in use): the comments `* ASC_SOP (…)(…)(…)` and `* ASC_SAT n` below an event, which has reel and source
 * timecodes, and mostly a comment with the name of the clip. Spellings: with and without space behind the star, with and without colon.
 */
import type { Cdl } from './cdl.ts';
import { checkedCdl, type EdlSpan, type ListedCdl } from './cdl-listed.ts';
import { ColourFileError, numberOf, quoted } from './refuse.ts';

const TIME = String.raw`(\d{2}[:;]\d{2}[:;]\d{2}[:;.,]\d{2,3})`;
const EVENT = new RegExp(
  String.raw`^(\d+)\s+(\S+)\s+(\S+)\s+(?:C|D|W\d+|K\S*)(?:\s+\S+)?\s+${TIME}\s+${TIME}\s+${TIME}\s+${TIME}\s*$`,
);
const COMMENT = /^\*\s*(.*)$/;

interface Event {
  readonly number: string;
  readonly line: number;
  readonly reel: string | null;
  readonly span: EdlSpan;
  from: string[];
  to: string[];
  sop: Pick<Cdl, 'slope' | 'offset' | 'power'> | null;
  saturation: number | null;
}

/** Names of no reel: black, bars, auxiliary sources. */
const NO_REEL = ['BL', 'BLACK', 'BARS', 'AX'];

function tripleOf(text: string, line: number): [number, number, number] {
  const values = text
    .trim()
    .split(/[\s,]+/)
    .map(numberOf);
  const [r, g, b] = values;
  if (values.length !== 3 || r === null || g === null || b === null)
    throw new ColourFileError(`line ${line}: ASC_SOP with ${quoted(text)}`, 'three numbers in each bracket');
  return [r as number, g as number, b as number];
}

function sopOf(text: string, line: number): Event['sop'] {
  const parts = /^\(([^()]*)\)\s*\(([^()]*)\)\s*\(([^()]*)\)$/.exec(text);
  if (parts === null)
    throw new ColourFileError(
      `line ${line}: ASC_SOP ${quoted(text)}`,
      'slope, offset and power in brackets: (r g b) (r g b) (r g b)',
    );
  const [slope, offset, power] = [1, 2, 3].map((index) => tripleOf(parts[index] as string, line)) as [
    Cdl['slope'],
    Cdl['offset'],
    Cdl['power'],
  ];
  return { slope, offset, power };
}

function saturationOf(text: string, line: number): number {
  const value = numberOf(text.replace(/^\((.*)\)$/, '$1').trim());
  if (value === null) throw new ColourFileError(`line ${line}: ASC_SAT ${quoted(text)}`, 'a number');
  return value;
}

function readComment(event: Event | null, text: string, line: number): void {
  const cdl = /^ASC_(SOP|SAT)\s*:?\s*(.*)$/i.exec(text);
  if (cdl !== null) {
    if (event === null)
      throw new ColourFileError(`line ${line}: a CDL before any event`, 'an event above it');
    const [, kind = '', value = ''] = cdl;
    const isSop = kind.toUpperCase() === 'SOP';
    if ((isSop ? event.sop : event.saturation) !== null)
      throw new ColourFileError(`line ${line}: a second ASC_${kind} of event ${event.number}`, 'one');
    if (isSop) event.sop = sopOf(value.trim(), line);
    else event.saturation = saturationOf(value.trim(), line);
    return;
  }
  const name = /^(FROM CLIP NAME|TO CLIP NAME|SOURCE FILE)\s*:\s*(.+)$/i.exec(text);
  if (name === null || event === null) return;
  const called = (name[2] as string).trim();
  const names = [called, called.replace(/\.[A-Za-z0-9]{1,5}$/, '')];
  (/^TO/i.test(name[1] as string) ? event.to : event.from).push(...names);
}

/** Throws ColourFileError for a CDL that is not understood, or an event. Other comments and lines are passed over. */
export function edlCdls(bytes: Buffer): ListedCdl[] {
  let text: string;
  try {
    text = new TextDecoder('utf-8', { fatal: true }).decode(bytes);
  } catch {
    throw new ColourFileError('bytes that are no text', 'an edit list in ASCII or UTF-8');
  }
  const events: Event[] = [];
  let drop = false;
  for (const [index, raw] of text.split(/\r\n|\r|\n/).entries()) {
    const line = index + 1;
    const said = raw.trim();
    const count = /^FCM:\s*(NON-)?DROP FRAME/i.exec(said);
    if (count !== null) drop = count[1] === undefined;
    const comment = COMMENT.exec(said);
    if (comment !== null || /^ASC_S/i.test(said))
      readComment(events.at(-1) ?? null, (comment?.[1] ?? said).trim(), line);
    else if (/^\d+\s/.test(said)) {
      const event = EVENT.exec(said);
      if (event === null)
        throw new ColourFileError(
          `line ${line}: ${quoted(said)}`,
          'an event: number, reel, channels, transition and four timecodes',
        );
      const [, number = '', reel = '', , from = '', to = ''] = event;
      events.push({
        number,
        line,
        reel: NO_REEL.includes(reel.toUpperCase()) ? null : reel,
        span: { from, to, drop: drop || /[;.,]\d+$/.test(from) },
        from: [],
        to: [],
        sop: null,
        saturation: null,
      });
    }
  }
  return events
    .filter(({ sop, saturation }) => sop !== null || saturation !== null)
    .map(({ number, line, reel, span, from, to, sop, saturation }) => ({
      values: checkedCdl(
        {
          ...(sop ?? { slope: [1, 1, 1], offset: [0, 0, 0], power: [1, 1, 1] }),
          saturation: saturation ?? 1,
        },
        `event ${number}, line ${line}`,
      ),
      id: null,
      place: `event ${number}, line ${line}`,
      // Below a transition the clip that comes in is the one that the event is of.
      names: [...new Set(to.length > 0 ? to : from)],
      reel,
      span,
    }));
}
