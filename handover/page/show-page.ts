/** The page of a show so far: whether the deliverables of all days were made alike, and where not, since when and why. Pure. */
import { count } from '../../findings/human.ts';
import {
  type ProfileOverDays,
  type ShowMade,
  type TraitOverDays,
  traitsThatDiffer,
  type ValueOverDays,
} from '../consistency/show.ts';
import { traitNames } from '../consistency/traits.ts';
import { listed } from '../words.ts';
import { pageOf } from './document.ts';
import { address, type Markup, markup, name, type Piece } from './markup.ts';
import { differenceItem } from './notes.ts';

export interface ShowPage {
  readonly made: ShowMade;
  /** Of each day, by its name: how its rolls stand, and its page from this one. */
  readonly days: readonly {
    readonly day: string;
    readonly ready: number;
    readonly rolls: number;
    readonly clips: number;
    readonly length: string;
    /** null: it has none. */
    readonly page: string | null;
  }[];
}

export function showVerdict({ made }: Pick<ShowPage, 'made'>): string {
  const { days } = made;
  if (days.length === 0) return 'There is no day here.';
  const differ = traitsThatDiffer(made).map((trait) => traitNames[trait]);
  const over =
    days.length === 1 ? 'The deliverables of the one day' : `The deliverables of ${days.length} days`;
  return differ.length === 0
    ? `${over} are made alike.`
    : `${over} differ in ${listed(differ, differ.length)}.`;
}

function daysOf({ days }: ValueOverDays, all: readonly string[]): Piece {
  const clips = count(
    days.reduce((sum, one) => sum + one.clips, 0),
    'clip',
  );
  return days.length === all.length && all.length > 1
    ? markup`all days, ${clips}`
    : markup`<bdi>${listed(days.map(({ day }) => day))}</bdi>, ${clips}`;
}

function traitRow({ trait, values }: TraitOverDays, days: readonly string[]): Markup {
  return markup`<tr><th scope="row" class="word">${traitNames[trait]}</th><td class="word">${
    values.length === 1 ? 'alike' : markup`<span class="is-held">${values.length} values</span>`
  }</td><td>${values.map(
    (one, index) =>
      markup`${index === 0 ? null : markup`<br>`}<bdi>${one.value}</bdi> <span class="small">(${daysOf(one, days)}${
        values.length === 1 || one.because === null ? null : markup`; <bdi>${one.because}</bdi>`
      }${values.length === 1 ? null : markup`; <bdi>${one.first[0] ?? ''}</bdi>`})</span>`,
  )}</td></tr>
`;
}

const profileTable = ({ name: profile, days, traits }: ProfileOverDays): Markup =>
  markup`<h3>${name(profile)}</h3>
<table><caption>On ${count(days.length, 'day')}</caption>
<thead><tr><th scope="col">Trait</th><th scope="col" class="word">Alike?</th><th scope="col">Value</th></tr></thead>
<tbody>${traits.map((trait) => traitRow(trait, days))}</tbody></table>
`;

function daysTable({ days }: ShowPage): Markup {
  return markup`<section aria-labelledby="days"><h2 id="days" tabindex="-1">Days</h2>
<table><caption>Every day of this delivery</caption>
<thead><tr><th scope="col">Day</th><th scope="col" class="number">Rolls ready</th><th scope="col" class="number">Clips</th><th scope="col" class="number">Length</th></tr></thead>
<tbody>${days.map(({ day, ready, rolls, clips, length, page }) => {
    const to = page === null ? null : address(page);
    return markup`<tr><th scope="row">${to === null ? name(day) : markup`<a href="${to}">${name(day)}</a>`}</th><td class="number">${
      ready === rolls ? null : markup`<span class="is-held">not all: </span>`
    }${ready} of ${rolls}</td><td class="number">${clips}</td><td class="number">${length}</td></tr>
`;
  })}</tbody></table></section>`;
}

function changesSection({ changes }: ShowMade): Markup {
  return markup`<section aria-labelledby="changes"><h2 id="changes" tabindex="-1">From day to day</h2>
${
  changes.length === 0
    ? markup`<p>No day brought anything that the day before it did not have.</p>`
    : changes.map(
        ({ day, before, differences }) =>
          markup`<h3>${name(day)}, against ${name(before)}</h3><ul class="plain">${differences.map(differenceItem)}</ul>`,
      )
}</section>`;
}

export function showPageOf(show: ShowPage): string {
  const verdict = showVerdict(show);
  const { days, profiles } = show.made;
  const [first] = days;
  const last = days.at(-1);
  return pageOf({
    title: `The show so far: ${verdict}`,
    skipTo: { id: days.length === 0 ? 'end' : 'days', words: 'Skip to the days' },
    body: markup`<header>
<p class="eyebrow">The show so far${
      first === undefined || last === undefined
        ? null
        : first === last
          ? markup`, ${name(first)}`
          : markup`, ${name(first)} to ${name(last)}`
    }</p>
<h1>${verdict}</h1>
<p class="lede">Of every profile: what its files share, and where they do not, on which day it changed and why.</p>
</header>
<main>
${days.length === 0 ? null : [daysTable(show), changesSection(show.made)]}
${
  profiles.length === 0
    ? null
    : markup`<section aria-labelledby="profiles"><h2 id="profiles" tabindex="-1">Profiles</h2>${profiles.map(profileTable)}</section>`
}
</main>
<footer id="end" tabindex="-1">
<p>Days follow each other by their names. Exposure and CDL are of each clip and are not compared; that a day lacks something is no difference.</p>
<p><code>rushlight page &lt;delivery&gt;</code> writes this page from the records once more.</p>
</footer>`,
  });
}
