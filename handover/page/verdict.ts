/** The verdict on a day in words: the first line of its page. Pure. */
import { blocks, describeFinding } from '../../findings/finding.ts';
import { count } from '../../findings/human.ts';
import { lengthOfAll, listed, timeText } from '../words.ts';
import type { Morning } from './morning.ts';

export type DayVerdict = Pick<Morning, 'day' | 'state' | 'unrecorded' | 'findings'>;

/** `5 of 6 rolls are ready`. */
export function readyText(ready: number, all: number): string {
  if (ready === all) {
    if (all < 3) return all === 1 ? 'The one roll is ready' : 'Both rolls are ready';
    return `All ${all} rolls are ready`;
  }
  if (ready === 0) return all === 1 ? 'The one roll is not ready' : `None of ${all} rolls is ready`;
  return `${ready} of ${all} rolls ${ready === 1 ? 'is' : 'are'} ready`;
}

const lower = (text: string): string => `${text[0]?.toLowerCase() ?? ''}${text.slice(1)}`;

/** ` B002 is held.`; nothing where none is. */
export const heldText = (names: readonly string[]): string =>
  names.length === 0 ? '' : ` ${listed(names)} ${names.length === 1 ? 'is' : 'are'} held.`;

/** Names of rolls as they are; whoever shows it escapes them. */
export function verdictText({ day, state, unrecorded, findings }: DayVerdict): string {
  const ready = day.rolls.filter(({ verdict }) => verdict === 'ready');
  const held = [...day.rolls.filter(({ verdict }) => verdict === 'held'), ...unrecorded];
  const all = ready.length + held.length;
  const names = held.map(({ roll }) => roll).sort();
  if (state.kind === 'running')
    return `The run has not come to its end. ${day.rolls.length === 0 ? 'No roll is decided yet' : `On record: ${lower(readyText(ready.length, all))}`}.`;
  if (all === 0) return 'There is no roll here.';
  if (state.kind === 'interrupted' || state.kind === 'unfinished')
    return `${state.kind === 'interrupted' ? 'The run was interrupted.' : 'The run stopped before its end.'} ${readyText(ready.length, all)}.${heldText(names)}`;
  const ofNight = findings.find(blocks);
  const alsoText =
    ofNight === undefined || held.length > 0
      ? ''
      : ` Not everything is well: ${describeFinding(ofNight, '').title}.`;
  return `${readyText(ready.length, all)}.${heldText(names)}${alsoText}`;
}

/** What it comes to, and what to do, in one or two sentences. */
export function leadText({ day, state, unrecorded, findings }: DayVerdict): string {
  const clips = day.rolls.flatMap((roll) => roll.clips);
  const made =
    clips.length === 0 ? '' : `${count(clips.length, 'clip')}, ${lengthOfAll(clips)} of pictures. `;
  const single = day.rolls.filter(({ verdict, copies }) => verdict === 'ready' && copies < 2);
  const alone =
    single.length === 0
      ? ''
      : ` Of ${listed(single.map(({ roll }) => roll))} only one copy was read, and that is no backup.`;
  const isHeld =
    unrecorded.length > 0 || day.rolls.some(({ verdict }) => verdict === 'held') || findings.some(blocks);
  switch (state.kind) {
    case 'running':
      return `It began ${timeText(state.began, day.timeZone)}, when this page was written, and writes it once more when it ends. If nothing is at work any more, start the same command again: what is finished stays.`;
    case 'interrupted':
    case 'unfinished':
      return `${made}Start the same command again: what is finished stays, and only what is missing is made.`;
    default:
      return `${made}${
        isHeld
          ? 'What to do about the rest comes first below.'
          : 'Every byte of every copy that was named equals its manifest, and every deliverable passed every check.'
      }${alone}`;
  }
}
