/** The parts of the page below the rolls: how the day differs from the one before, what is only noted, and what it all rests on. Pure. */
import { blocks } from '../../findings/finding.ts';
import { bytesText, count } from '../../findings/human.ts';
import type { Difference } from '../consistency/differences.ts';
import type { DayRoll } from '../day.ts';
import { driveOf } from '../words.ts';
import { countedNotes, findingsMarkup } from './findings.ts';
import { code, type Markup, markup, name, type Piece } from './markup.ts';
import type { Morning } from './morning.ts';

const capital = (text: string): string => `${text[0]?.toUpperCase() ?? ''}${text.slice(1)}`;

export function differenceItem({ what, profile, now, before, where, why }: Difference): Markup {
  return markup`<li><strong>${capital(what)}</strong>${profile === null ? null : markup` in ${name(profile)}`}: now <bdi>${now}</bdi>${
    where === null ? null : markup` (<bdi>${where}</bdi>)`
  }; before <bdi>${before}</bdi>.${why === null ? null : markup` Why: <bdi>${why}</bdi>.`}</li>`;
}

export function differencesSection({ differences }: Pick<Morning, 'differences'>): Markup | null {
  if (differences === null) return null;
  const { before, differences: list } = differences;
  if (before === null)
    return markup`<section aria-labelledby="differences"><h2 id="differences" tabindex="-1">What differs from the day before</h2>
<p>No day of this delivery comes before it.</p></section>`;
  return markup`<section aria-labelledby="differences"><h2 id="differences" tabindex="-1">What differs from ${name(before)}</h2>
${
  list.length === 0
    ? markup`<p>Nothing: profiles, look, audio layout and programs are the same.</p>`
    : markup`<ul class="plain">${list.map(differenceItem)}</ul>`
}
<p class="small"><a href="../../show.html">All days of the show so far</a></p></section>`;
}

export function notesSection({ day, unrecorded, findings }: Morning): Markup | null {
  const notes = [
    ...findings,
    ...day.rolls.flatMap((roll) => roll.findings),
    ...unrecorded.flatMap((roll) => roll.findings),
  ].filter((item) => !blocks(item));
  if (notes.length === 0) return null;
  return markup`<section aria-labelledby="notes"><h2 id="notes" tabindex="-1">Noted</h2>
<p class="small">None of this keeps a roll from being ready.</p>
<details><summary>${countedNotes(notes)}</summary>
<div>${findingsMarkup(notes, { day: day.day, level: 3 })}</div></details></section>`;
}

function copiesTable(rolls: readonly DayRoll[], day: string): Markup {
  return markup`<table><caption>Copies as they were read</caption>
<thead><tr><th scope="col">Roll</th><th scope="col">Drive</th><th scope="col" class="number">Files</th><th scope="col" class="number">Size</th><th scope="col">Verified</th></tr></thead>
<tbody>${rolls.flatMap(({ roll, copiesRead }) =>
    copiesRead.map(
      ({ folder, files, bytes, verified, oneWith }) =>
        markup`<tr><th scope="row">${name(roll)}</th><td>${name(driveOf(folder, { day, roll }))}<br><span class="small">${code(folder)}</span></td><td class="number">${files}</td><td class="number">${bytesText(bytes)}</td><td>${
          verified ? 'yes' : markup`<span class="is-held">no</span>`
        }${oneWith === undefined ? null : ', counts as one with another copy'}</td></tr>
`,
    ),
  )}</tbody></table>`;
}

function manifestsList(rolls: readonly DayRoll[]): Markup {
  return markup`<ul class="plain">${rolls.flatMap(({ roll, manifests }) =>
    manifests.map(
      ({ file, kind, files }) =>
        markup`<li>${name(roll)}: ${code(file)} (${kind}, ${count(files, 'file')})</li>`,
    ),
  )}</ul>`;
}

/** Each once, with the rolls that it made. */
function programsList(rolls: readonly DayRoll[]): Markup {
  const chains = new Map<string, { words: readonly string[]; rolls: string[] }>();
  for (const { roll, toolchain } of rolls) {
    if (toolchain === null) continue;
    const { rushlight, recipe, tools, digest } = toolchain;
    const known = chains.get(`${rushlight} ${digest}`) ?? {
      words: [
        `Rushlight ${rushlight}, recipe ${recipe}`,
        ...tools.map(({ name: tool, version, build }) => `${tool} ${version}, build ${build.slice(0, 12)}`),
      ],
      rolls: [],
    };
    chains.set(`${rushlight} ${digest}`, known);
    known.rolls.push(roll);
  }
  return markup`${[...chains.values()].map(
    ({ words, rolls: made }) =>
      markup`<p class="small">Of <bdi>${made.join(', ')}</bdi>:</p><ul class="plain">${words.map((one) => markup`<li><bdi>${one}</bdi></li>`)}</ul>`,
  )}`;
}

function profilesList(rolls: readonly DayRoll[]): Markup {
  const profiles = new Map(rolls.flatMap((roll) => roll.profiles.map(({ name: one, hash }) => [hash, one])));
  return markup`<ul class="plain">${[...profiles].map(
    ([hash, one]) => markup`<li>${name(one)}, ${code(hash.slice(0, 16))}</li>`,
  )}</ul>`;
}

const folded = (summary: string, body: Piece): Markup =>
  markup`<details><summary>${summary}</summary>
<div>${body}</div></details>
`;

export function restsSection({ day }: Pick<Morning, 'day'>): Markup | null {
  const { rolls } = day;
  if (rolls.length === 0) return null;
  const copies = rolls.reduce((sum, { copiesRead }) => sum + copiesRead.length, 0);
  const manifests = rolls.reduce((sum, roll) => sum + roll.manifests.length, 0);
  return markup`<section aria-labelledby="rests"><h2 id="rests" tabindex="-1">What this rests on</h2>
${copies === 0 ? null : folded(count(copies, 'copy of a roll', 'copies of rolls'), copiesTable(rolls, day.day))}${
  manifests === 0 ? null : folded(count(manifests, 'manifest'), manifestsList(rolls))
}${folded('Programs', programsList(rolls))}${folded('Profiles', profilesList(rolls))}
</section>`;
}
