/** A run that goes on, as one screen: its rolls, what workers have in hand, room, and what is held so far. Pure. */
import { printable } from '../../files/names.ts';
import { timeText } from '../../handover/words.ts';
import type { ProgressRecord } from '../progress/record.ts';
import { forecastLine } from './forecast-text.ts';
import { progressText } from './progress.ts';
import { bytesText, count } from './words.ts';

export interface Screen {
  readonly columns: number;
  readonly rows: number;
}

/** Lines beside those of rolls and clips. */
const BESIDE_ROLLS = 7;
const MOST_WORKING = 12;
const verbs = { make: 'making', check: 'checking', publish: 'publishing' } as const;

function workingText({ roll, clip, phase, frames, total }: ProgressRecord['working'][number]): string {
  const far = phase === 'publish' ? '' : `  ${Math.min(frames, total)} of ${count(total, 'frame')}`;
  return `  ${printable(roll)} ${printable(clip)}  ${verbs[phase]}${far}`;
}

/** Rolls that something is done with come first, then those that wait, those that are held, and those that are ready. */
const ORDER = ['making', 'measuring', 'reading', 'waiting', 'held', 'ready'] as const;
const rank = ({ phase }: ProgressRecord['rolls'][number]): number => ORDER.indexOf(phase);

/** Of one roll. */
export const forecastOf = (forecast: ProgressRecord['forecast'], roll: string) =>
  forecast?.rolls.find((one) => one.roll === roll) ?? null;

/** From where the record was written. */
const forecastLines = ({ forecast, at }: ProgressRecord): string[] =>
  forecast === null ? [] : [printable(forecastLine(forecast, Date.parse(at)))];

function rollsText({ rolls, framesPerSecond, forecast }: ProgressRecord, room: number): string[] {
  const sorted = rolls.length <= room ? rolls : rolls.toSorted((a, b) => rank(a) - rank(b));
  const shown = sorted.slice(0, rolls.length <= room ? room : Math.max(1, room - 1));
  const left = rolls.length - shown.length;
  return [
    ...shown.map(
      (roll) =>
        `${printable(roll.roll).padEnd(10)} ${progressText(roll, framesPerSecond, forecastOf(forecast, roll.roll)).text}`,
    ),
    ...(left > 0 ? [`and ${count(left, 'more roll')}`] : []),
  ];
}

function summary({ rolls, freeBytes }: ProgressRecord): string {
  const held = rolls.filter(({ phase }) => phase === 'held').map(({ roll }) => printable(roll));
  const ready = rolls.filter(({ phase }) => phase === 'ready').length;
  const free =
    freeBytes === null ? 'the delivery does not answer' : `${bytesText(freeBytes)} free on the delivery`;
  return `${ready} of ${count(rolls.length, 'roll')} ready${held.length === 0 ? '' : `; held: ${held.join(', ')}`}; ${free}`;
}

/** Lines of a screen, none longer and not more of them than fit. */
export function watchLines(record: ProgressRecord, { columns, rows }: Screen): string[] {
  const working = record.working.slice(
    0,
    Math.max(1, Math.min(MOST_WORKING, Math.floor((rows - BESIDE_ROLLS) / 3))),
  );
  const more = record.working.length - working.length;
  const room = Math.max(1, rows - working.length - BESIDE_ROLLS);
  const lines = [
    `${printable(record.day)}, at work since ${timeText(record.since, record.timeZone)}`,
    summary(record),
    ...forecastLines(record),
    '',
    ...rollsText(record, room),
    '',
    ...(working.length === 0 ? [] : ['In hand:', ...working.map(workingText)]),
    ...(more > 0 ? [`  and ${more} more`] : []),
  ];
  return lines
    .slice(0, rows)
    .map((line) => (line.length > columns ? `${line.slice(0, columns - 1)}…` : line));
}

/** The same as one line for each roll that something is done with, for where there is no screen. */
export const plainLines = (record: ProgressRecord): string[] => [
  ...record.rolls
    .filter(({ phase }) => phase !== 'waiting')
    .map(
      (roll) =>
        `${printable(roll.roll)}: ${progressText(roll, record.framesPerSecond, forecastOf(record.forecast, roll.roll)).text}`,
    ),
  ...forecastLines(record).map((line) => `all rolls: ${line}`),
];
