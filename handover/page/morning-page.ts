/** The morning page: one HTML file that says of a day what is ready, what is held and what to do, and shows it. Pure. */
import { count } from '../../findings/human.ts';
import { lengthOfAll, timeText } from '../words.ts';
import { pageOf } from './document.ts';
import { heldSection } from './held.ts';
import { type Markup, markup, name, type Piece } from './markup.ts';
import type { Morning } from './morning.ts';
import { differencesSection, notesSection, restsSection } from './notes.ts';
import { rollsSection } from './rolls.ts';
import { leadText, verdictText } from './verdict.ts';

function timesText({ state, day }: Morning): Piece {
  const at = (moment: string): string => timeText(moment, day.timeZone);
  const times = {
    unrecorded: () => null,
    running: (began: string) => `began ${at(began)}`,
    ended: (began: string, ended: string) => `made from ${at(began)} to ${at(ended)}`,
  };
  switch (state.kind) {
    case 'unrecorded':
      return times.unrecorded();
    case 'running':
    case 'unfinished':
      return times.running(state.began);
    default:
      return times.ended(state.began, state.ended);
  }
}

function factsList({ day, unrecorded }: Morning): Markup | null {
  const clips = day.rolls.flatMap((roll) => roll.clips);
  if (clips.length === 0) return null;
  const ready = day.rolls.filter(({ verdict }) => verdict === 'ready');
  const copies = [...new Set(day.rolls.map((roll) => roll.copies))].sort((a, b) => a - b);
  const facts: readonly (readonly [string, string])[] = [
    ['Rolls ready', `${ready.length} of ${day.rolls.length + unrecorded.length}`],
    ['Clips', count(clips.length, 'clip')],
    ['Pictures', lengthOfAll(clips)],
    ['Copies of each roll', copies.length > 1 ? `${copies[0]} to ${copies.at(-1)}` : String(copies[0] ?? 0)],
  ];
  return markup`<dl class="facts">${facts.map(([term, text]) => markup`<div><dt>${term}</dt><dd>${text}</dd></div>`)}</dl>`;
}

/** The way through the page: its parts by their ids. */
const PARTS = {
  held: 'What is held',
  rolls: 'Rolls',
  differences: 'What differs',
  notes: 'Noted',
  rests: 'What it rests on',
} as const;

export function morningPageOf(morning: Morning): string {
  const { day } = morning;
  const verdict = verdictText(morning);
  const parts = {
    held: heldSection(morning),
    rolls: rollsSection(morning),
    differences: differencesSection(morning),
    notes: notesSection(morning),
    rests: restsSection(morning),
  };
  const there = (Object.keys(PARTS) as (keyof typeof PARTS)[]).filter((part) => parts[part] !== null);
  const times = timesText(morning);
  return pageOf({
    title: `${day.day}: ${verdict}`,
    skipTo: {
      id: there[0] ?? 'end',
      words: `Skip to: ${there[0] === undefined ? 'the end' : PARTS[there[0]]}`,
    },
    body: markup`<header>
<p class="eyebrow">${name(day.day)}${times === null ? null : markup`, ${times}`}</p>
<h1><bdi>${verdict}</bdi></h1>
<p class="lede">${leadText(morning)}</p>
${factsList(morning)}
${
  there.length < 2
    ? null
    : markup`<nav aria-label="On this page"><ul>${there.map((part) => markup`<li><a href="#${part}">${PARTS[part]}</a></li>`)}</ul></nav>`
}
</header>
<main>
${there.map((part) => parts[part])}
</main>
<footer id="end" tabindex="-1">
<p>Never reformat a card on this page’s word alone: it does not know how many copies your production asks for, nor where they are.</p>
<p>It says what the records beside it say. Commands are written as <code>rushlight …</code>: type them as you typed the one that made this. <code>rushlight page &lt;delivery&gt;</code> writes this page from the records once more, and <code>rushlight explain &lt;code&gt;</code> says more of a finding.</p>
</footer>`,
  });
}
