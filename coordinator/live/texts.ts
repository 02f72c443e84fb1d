/** What the live page says of a run: one look at it becomes texts and rows. Pure. */
import { blocks, describeFinding, type Finding } from '../../findings/finding.ts';
import { bytesText, count } from '../../findings/human.ts';
import { groupedFindings } from '../../handover/page/findings.ts';
import { visible } from '../../handover/page/markup.ts';
import { heldText, readyText } from '../../handover/page/verdict.ts';
import { driveOf, timeText } from '../../handover/words.ts';
import type { Phase } from '../progress/run-progress.ts';
import type { ProgressRecord } from '../progress/record.ts';
import { forecastLine } from '../show/forecast-text.ts';
import { progressText } from '../show/progress.ts';
import { forecastOf } from '../show/watch-text.ts';
import type { HeldSeen, Seen } from './seen.ts';
import type { Row, View } from './view.ts';

/** What fits on a page that is read: the rest is counted. */
export const MOST = { rolls: 60, working: 50, held: 30, codesOfRoll: 3, names: 300, name: 80 } as const;

/** A run writes every two seconds. */
const QUIET_SECONDS = 15;

/** Names from outside, so that no reader is misled and no page burst. */
function shown(text: string, most: number = MOST.name): string {
  const characters = [...visible(text)];
  return characters.length <= most ? characters.join('') : `${characters.slice(0, most - 1).join('')}…`;
}

interface RollSeen {
  readonly roll: string;
  readonly phase: Phase;
  readonly text: string;
  /** 0 to 1; null: nothing can be said. */
  readonly share: number | null;
}

function rollsOf({ record, night, state }: Seen): RollSeen[] {
  if (record !== null)
    return record.rolls.map((roll) => {
      const { done, total, text } = progressText(
        roll,
        record.framesPerSecond,
        forecastOf(record.forecast, roll.roll),
      );
      return {
        roll: roll.roll,
        phase: roll.phase,
        text: text.replaceAll(/ {2,}/g, ' '),
        share: AT_WORK.includes(roll.phase) ? Math.min(1, done / total) : null,
      };
    });
  const isOver = state === 'ended' || state === 'interrupted' || state === 'stopped';
  return (night?.rolls ?? []).map(({ roll, verdict }) => {
    const phase = verdict ?? (isOver ? 'held' : 'waiting');
    return { roll, phase, text: verdict === null && isOver ? 'not decided' : phase, share: null };
  });
}

const namesOf = (rolls: readonly RollSeen[], phase: Phase): string[] =>
  rolls.filter((roll) => roll.phase === phase).map(({ roll }) => shown(roll));

function namesText(names: readonly string[]): string {
  const left = names.length - MOST.names;
  return `${names.slice(0, MOST.names).join(', ')}${left > 0 ? ` and ${left} more` : ''}`;
}

function headlineOf(seen: Seen, rolls: readonly RollSeen[]): string {
  const ready = namesOf(rolls, 'ready').length;
  const decided = rolls.length === 0 ? '' : ` ${readyText(ready, rolls.length)}.`;
  const held = heldText(namesOf(rolls, 'held').sort());
  switch (seen.state) {
    case 'none':
      return 'No run is at work.';
    case 'beginning':
      return 'A run begins.';
    case 'running':
      return `At work.${ready === 0 && held === '' ? ' No roll is decided yet.' : `${decided}${held}`}`;
    case 'stopped':
      return `The run stopped before its end.${decided}${held}`;
    case 'interrupted':
      return `The run was interrupted.${decided}${held}`;
    case 'ended':
      return `The run has ended.${decided}${held}`;
  }
}

/** When all will be ready, counted from when the run wrote that. */
function expectedText({ record }: Seen): string {
  if (record === null || record.forecast === null) return '';
  const line = shown(forecastLine(record.forecast, Date.parse(record.at)), MOST.names);
  return `${line.slice(0, 1).toUpperCase()}${line.slice(1)}. `;
}

function ledeOf(seen: Seen): string {
  const { state, night } = seen;
  switch (state) {
    case 'none':
      return 'This page shows the next one when it begins.';
    case 'beginning':
      return 'It takes its places, and finds the rolls of the day.';
    case 'running':
      return `${expectedText(seen)}A roll is ready when every byte of every copy equals its manifest and every deliverable passed every check.`;
    case 'stopped':
      return 'Nothing is at work any more. Start the same command again: what is finished stays, and only what is missing is made.';
    case 'interrupted':
      return 'Start the same command again: what is finished stays, and only what is missing is made.';
    case 'ended':
      return night?.ended == null ? '' : `It ended ${timeText(night.ended, seen.timeZone)}.`;
  }
}

/** What the run itself leaves unsaid; that this page's own connection is lost, the page says. */
function quietOf({ state, record, ageSeconds, timeZone }: Seen): string {
  if (state !== 'running' || record === null || ageSeconds === null || ageSeconds < QUIET_SECONDS) return '';
  const since = timeText(record.at, timeZone);
  return `The run is there, and has written nothing since ${since}. Look at its terminal, and whether the drive of its work folder is full.`;
}

const VERBS = { make: 'making', check: 'checking', publish: 'publishing' } as const;

function workingRow({ roll, clip, phase, frames, total }: ProgressRecord['working'][number]): Row {
  const done = Math.min(frames, total);
  return {
    key: `${roll}\n${clip}`,
    cells: {
      clip: shown(clip),
      roll: shown(roll),
      text: `${VERBS[phase]}${phase === 'publish' ? '' : ` ${done} of ${count(total, 'frame')}`}`,
      share: phase === 'publish' || total === 0 ? '' : (done / total).toFixed(3),
    },
  };
}

/** Where something goes on. */
const AT_WORK: readonly Phase[] = ['making', 'measuring', 'reading'];

/** Of a day with many rolls those at work alone: the others are named below. */
const rowsShown = (rolls: readonly RollSeen[]): readonly RollSeen[] =>
  rolls.length <= MOST.rolls
    ? rolls
    : AT_WORK.flatMap((phase) => rolls.filter((roll) => roll.phase === phase)).slice(0, MOST.rolls);

const rollRows = (rolls: readonly RollSeen[]): Row[] =>
  rowsShown(rolls).map(({ roll, phase, text, share }) => ({
    key: roll,
    cells: { roll: shown(roll), phase, text, share: share === null ? '' : share.toFixed(3) },
  }));

function whereOf(item: Finding, day: string, roll: string): string {
  const { copy, clip, profile, file } = item;
  return [
    ...(copy === undefined ? [] : [`drive ${driveOf(copy, { day, roll })} (${copy})`]),
    ...(clip === undefined ? [] : [`clip ${clip}`]),
    ...(profile === undefined ? [] : [`profile ${profile}`]),
    ...(file === undefined ? [] : [file]),
  ]
    .map((part) => shown(part, 200))
    .join(', ');
}

const LONGEST_TEXT = 400;

/** Of each roll the first finding, since the others often follow from it; how many there are beside it. */
function heldRows(held: readonly HeldSeen[], day: string): Row[] {
  const rows = held.flatMap(({ roll, findings }): Row[] => {
    const [group, ...others] = groupedFindings(findings.filter(blocks));
    const [first] = group?.items ?? [];
    if (group === undefined || first === undefined) return [];
    const total = first.counted === undefined ? group.items.length + group.more : group.more;
    const { title, remedy } = describeFinding(first, '');
    const more = others.map(({ items }) => describeFinding(items[0] as Finding, '').title);
    return [
      {
        key: roll ?? '',
        cells: {
          roll: roll === null ? 'The run as a whole' : shown(roll),
          title: `${title}${total > 1 ? `, ${total} times` : ''}`,
          where: whereOf(first, day, roll ?? ''),
          found: shown(first.found, LONGEST_TEXT),
          expected: shown(first.expected, LONGEST_TEXT),
          remedy,
          code: first.code,
          more:
            more.length === 0
              ? ''
              : shown(
                  `${more.slice(0, MOST.codesOfRoll).join('; ')}${more.length > MOST.codesOfRoll ? ` and ${more.length - MOST.codesOfRoll} more` : ''}`,
                  LONGEST_TEXT,
                ),
        },
      },
    ];
  });
  return rows.slice(0, MOST.held);
}

function speedText({ record }: Seen): string {
  const rate = record?.framesPerSecond ?? null;
  return rate === null ? '' : `${rate.toFixed(rate < 10 ? 1 : 0)} frames/s`;
}

function freeText({ record }: Seen): string {
  if (record === null) return '';
  return record.freeBytes === null ? 'it does not answer' : bytesText(record.freeBytes);
}

/** For a page of its own: how the run stands, in a few words. */
function titleOf({ state, day }: Seen, rolls: readonly RollSeen[]): string {
  const words = { none: 'no run', beginning: 'begins', stopped: 'stopped', interrupted: 'interrupted' };
  const ready = `${namesOf(rolls, 'ready').length} of ${rolls.length} ready`;
  const what = state === 'running' ? ready : state === 'ended' ? `ended, ${ready}` : words[state];
  return `${day === null ? 'Rushlight' : shown(day)}: ${what}`;
}

/** Quoted for a POSIX shell where it must be. */
const typed = (path: string): string =>
  /^[A-Za-z0-9_@%+=:,./-]+$/.test(path) ? path : `'${path.replaceAll("'", `'\\''`)}'`;

const STILL_NOTES = {
  'being-made': 'Made a moment ago, and not proved yet.',
  made: 'A clip has stills when it is made and proved.',
} as const;

/** Its option stands in the page. */
const statusCommand = (delivery: string): string =>
  shown(`rushlight status ${typed(delivery)}`, LONGEST_TEXT);

/** `news`: what was last worth saying aloud. `serves`: the morning page can be opened here. */
export function viewOf(seen: Seen, news: string, serves: boolean): View {
  const rolls = rollsOf(seen);
  const { record, still, delivery, morning, pid } = seen;
  const isOver = !['running', 'beginning'].includes(seen.state);
  const working = record === null || isOver ? [] : record.working;
  const rows = rollRows(rolls);
  const left = rolls.length - rows.length;
  const folds = (['waiting', 'ready', 'held'] as const).map((phase) => namesOf(rolls, phase));
  const many = left > 0;
  const [waiting = [], ready = [], held = []] = folds;
  return {
    texts: {
      title: titleOf(seen, rolls),
      state: seen.state,
      day: seen.day === null ? '' : shown(seen.day),
      headline: headlineOf(seen, rolls),
      lede: ledeOf(seen),
      quiet: quietOf(seen),
      news,
      ready: rolls.length === 0 ? '' : `${ready.length} of ${rolls.length}`,
      speed: isOver ? '' : speedText(seen),
      free: isOver ? '' : freeText(seen),
      since: record === null ? '' : timeText(record.since, record.timeZone),
      idle: working.length === 0 && seen.state === 'running' ? 'No worker has a clip in hand.' : '',
      'working-more': working.length > MOST.working ? `and ${working.length - MOST.working} more` : '',
      'rolls-more': many
        ? `The first ${rows.length} of ${rolls.length}, those at work before the others.`
        : '',
      'waiting-count': many && waiting.length > 0 ? `${count(waiting.length, 'roll')} waiting` : '',
      'waiting-names': many ? namesText(waiting) : '',
      'ready-count': many && ready.length > 0 ? `${count(ready.length, 'roll')} ready` : '',
      'ready-names': many ? namesText(ready) : '',
      'held-count': many && held.length > 0 ? `${count(held.length, 'roll')} held` : '',
      'held-names': many ? namesText(held) : '',
      still: still === null ? '' : `/still.jpg?v=${still.version}`,
      'still-alt':
        still === null ? '' : `${shown(still.clip)}${still.timecode === null ? '' : ` at ${still.timecode}`}`,
      'still-of':
        still === null
          ? ''
          : `${shown(still.clip)} of ${shown(still.roll)}${still.timecode === null ? '' : `, ${still.timecode}`}.`,
      'still-title': still?.of === 'being-made' ? 'Being made' : 'The newest still',
      'still-note': isOver || still === null ? '' : STILL_NOTES[still.of],
      morning: morning === null ? '' : shown(morning, LONGEST_TEXT),
      'morning-here': morning !== null && serves ? 'Open the morning page' : '',
      retry: rolls.some(({ phase }) => phase === 'held') ? 'there' : '',
      first: isOver ? '' : 'there',
      stop: isOver || pid === null ? '' : `kill -INT ${pid}`,
      watch: delivery === null || isOver ? '' : statusCommand(delivery),
      again: delivery === null || !isOver || serves ? '' : statusCommand(delivery),
    },
    lists: {
      working: working.slice(0, MOST.working).map(workingRow),
      rolls: rows,
      held: heldRows(seen.held, seen.day ?? ''),
    },
  };
}

/** Rolls that were decided since, and how the run itself goes on; '': nothing worth saying aloud. */
export function newsOf(before: Seen, after: Seen): string {
  const phases = new Map(rollsOf(before).map(({ roll, phase }) => [roll, phase]));
  const decided = rollsOf(after).filter(({ roll, phase }) => {
    const was = phases.get(roll);
    return was !== undefined && was !== phase && (phase === 'held' || phase === 'ready');
  });
  const parts = decided.slice(0, 3).map(({ roll, phase }) => `${shown(roll)} is ${phase}.`);
  const more = decided.length - parts.length;
  const state =
    before.state === after.state || after.state === 'running' || after.state === 'beginning'
      ? []
      : [headlineOf(after, rollsOf(after))];
  return state.length > 0
    ? state.join(' ')
    : [...parts, ...(more > 0 ? [`${more} more are decided.`] : [])].join(' ');
}
