/** The rolls of a day on its page: a table of all, then each with its clips in pictures. Pure. */
import { blocks } from '../../findings/finding.ts';
import { bytesText, count, durationText } from '../../findings/human.ts';
import type { Recording } from '../../ledger/recording.ts';
import type { DayClip, DayRoll } from '../day.ts';
import { clipLengthText, lengthOfAll, listed, startText, timeText } from '../words.ts';
import { address, type Markup, markup, name, type Piece } from './markup.ts';
import { type Morning, pictureKey } from './morning.ts';

export const verdictMark = (verdict: 'ready' | 'held'): Markup =>
  verdict === 'ready'
    ? markup`<span class="is-ready">Ready</span>`
    : markup`<span class="is-held">Held</span>`;

const idOf = (index: number): string => `roll-${index + 1}`;

const isSoundRoll = ({ clips, recordings }: DayRoll): boolean => clips.length === 0 && recordings.length > 0;

const readyClips = ({ clips }: DayRoll): number => clips.filter(({ verdict }) => verdict === 'ready').length;

function overview({ day }: Morning): Markup {
  return markup`<table>
<caption>Every roll of ${name(day.day)}</caption>
<thead><tr><th scope="col">Roll</th><th scope="col">Verdict</th><th scope="col" class="number">Clips</th><th scope="col" class="number">Length</th><th scope="col" class="number">Copies</th></tr></thead>
<tbody>
${day.rolls.map(
  (roll, index) =>
    markup`<tr><th scope="row"><a href="#${idOf(index)}">${name(roll.roll)}</a></th><td>${verdictMark(roll.verdict)}</td><td class="number">${isSoundRoll(roll) ? '–' : roll.clips.length}</td><td class="number">${roll.clips.length === 0 ? '–' : lengthOfAll(roll.clips)}</td><td class="number">${roll.copies}</td></tr>
`,
)}</tbody>
</table>`;
}

/** Of every profile: how many files, and how large. */
function deliverablesText({ clips }: DayRoll): string {
  const totals = new Map<string, { files: number; bytes: number; missing: number }>();
  for (const { deliverables } of clips)
    for (const { profile, file } of deliverables) {
      const total = totals.get(profile) ?? { files: 0, bytes: 0, missing: 0 };
      totals.set(profile, total);
      if (file === null) total.missing += 1;
      else {
        total.files += 1;
        total.bytes += file.bytes;
      }
    }
  return [...totals]
    .map(
      ([profile, { files, bytes, missing }]) =>
        `${files} in ${profile} (${bytesText(bytes)}${missing > 0 ? `; ${missing} missing` : ''})`,
    )
    .join(', ');
}

/** Ways of its proxies, each once, with the clips that go it where there are several. */
function looksOf({ clips }: DayRoll): readonly { readonly way: string; readonly clips: readonly string[] }[] {
  const ways = new Map<string, string[]>();
  for (const clip of clips)
    for (const way of clip.shown) ways.set(way, [...(ways.get(way) ?? []), clip.name]);
  return [...ways].map(([way, names]) => ({ way, clips: names }));
}

function looksMarkup(roll: DayRoll): Piece {
  const looks = looksOf(roll);
  if (looks.length === 0) return null;
  if (looks.length === 1) return markup`<p class="meta">Pictures: ${looks[0]?.way ?? ''}.</p>`;
  return markup`<ul class="plain meta">${looks.map(
    ({ way, clips }) => markup`<li>Pictures of <bdi>${listed(clips)}</bdi>: ${way}.</li>`,
  )}</ul>`;
}

/** Which clips carry production sound in a profile that asks for it. */
interface CarriedSound {
  readonly profile: string;
  readonly carried: number;
  /** Names of those that were laid by timecode alone, and of those that carry none. */
  readonly byTimecode: readonly string[];
  readonly none: readonly string[];
}

function carriedSounds({ clips }: DayRoll): CarriedSound[] {
  const profiles = new Set(
    clips.flatMap(({ deliverables, findings }) => [
      ...deliverables.flatMap(({ production, profile }) => (production === null ? [] : [profile])),
      ...findings.flatMap(({ code, profile }) =>
        code === 'production-sound-none' && profile !== undefined ? [profile] : [],
      ),
    ]),
  );
  return [...profiles].sort().map((profile) => {
    const made = clips.flatMap((clip) =>
      clip.deliverables
        .filter((one) => one.profile === profile && one.file !== null)
        .map(({ production }) => ({ name: clip.name, production })),
    );
    return {
      profile,
      carried: made.filter(({ production }) => production !== null).length,
      byTimecode: made.filter(({ production }) => production?.laidBy === 'timecode').map((one) => one.name),
      none: made.filter(({ production }) => production === null).map((one) => one.name),
    };
  });
}

function carriedMarkup(roll: DayRoll): Piece {
  return carriedSounds(roll).map(
    ({ profile, carried, byTimecode, none }) =>
      markup`<p class="meta">Production sound in ${name(profile)}: ${count(carried, 'clip')}${
        byTimecode.length === 0 ? null : markup`, laid by timecode alone: <bdi>${listed(byTimecode)}</bdi>`
      }${none.length === 0 ? null : markup`; none in <bdi>${listed(none)}</bdi>`}.</p>
`,
  );
}

function sheetLinks(paths: readonly string[]): Piece {
  const links = paths.flatMap((path, index) => {
    const to = address(path);
    return to === null
      ? []
      : [markup`<a href="${to}">${paths.length === 1 ? 'contact sheet' : `contact sheet ${index + 1}`}</a>`];
  });
  return links.map((link) => markup`, ${link}`);
}

/** The takes of a sound roll, each with the clips that ran with it. */
function recordingsMarkup({ roll, recordings }: DayRoll): Piece {
  if (recordings.length === 0) return null;
  const of = (one: Recording): Markup =>
    markup`<tr><th scope="row">${name(one.files[0] ?? '')}</th><td>${slateText(one) === null ? '–' : name(slateText(one) ?? '')}</td><td>${tracksText(one)}</td><td class="number">${durationText(one.samples / one.sampleRate)}</td><td>${one.clips.length === 0 ? 'none' : markup`<bdi>${listed(one.clips.map(({ clip }) => clip))}</bdi>`}</td></tr>
`;
  return markup`<table>
<caption>Recordings of ${name(roll)}</caption>
<thead><tr><th scope="col">File</th><th scope="col">Slate</th><th scope="col">Tracks</th><th scope="col" class="number">Length</th><th scope="col">Ran with</th></tr></thead>
<tbody>
${recordings.map(of)}</tbody>
</table>`;
}

function tracksText({ channels, tracks }: Recording): Piece {
  const names = tracks.flatMap((track) => (track.name === null ? [] : [track.name]));
  return names.length === 0 ? String(channels) : markup`${channels}: <bdi>${names.join(', ')}</bdi>`;
}

function rollMarkup(roll: DayRoll, index: number, morning: Morning): Markup {
  const { timeZone } = morning.day;
  const record = address(`../${roll.folder}/roll.json`);
  const notReady = roll.clips.length - readyClips(roll);
  const made = deliverablesText(roll);
  return markup`<section class="roll" aria-labelledby="${idOf(index)}">
<div><h3 id="${idOf(index)}" tabindex="-1">${name(roll.roll)}</h3>
<p class="meta">${verdictMark(roll.verdict)}${roll.verdict === 'ready' ? ` (${count(roll.copies, 'copy', 'copies')})` : null}. ${isSoundRoll(roll) ? count(roll.recordings.length, 'recording of sound', 'recordings of sound') : count(roll.clips.length, 'clip')}${
    roll.clips.length === 0 ? null : `, ${lengthOfAll(roll.clips)}`
  }${notReady > 0 ? `, ${notReady} held` : null}${roll.decidedAt === null ? null : `. Decided ${timeText(roll.decidedAt, timeZone)}`}.</p>
${made === '' ? null : markup`<p class="meta">Made: <bdi>${made}</bdi>.</p>`}
${looksMarkup(roll)}
${carriedMarkup(roll)}<p class="meta">${record === null ? 'record' : markup`<a href="${record}">record</a>`}${sheetLinks(morning.sheets.get(roll.roll) ?? [])}</p></div>
${recordingsMarkup(roll)}
${
  roll.clips.length === 0
    ? null
    : markup`<ul class="clips" aria-label="Clips of ${roll.roll}">
${roll.clips.map((clip) => clipMarkup(clip, morning))}</ul>`
}
</section>`;
}

function slateText({ scene, take }: Pick<DayClip, 'scene' | 'take'>): string | null {
  const parts = [...(scene === null ? [] : [`scene ${scene}`]), ...(take === null ? [] : [`take ${take}`])];
  return parts.length === 0 ? null : parts.join(', ');
}

function clipMarkup(clip: DayClip, { pictures }: Morning): Markup {
  const picture = pictures.get(pictureKey(clip.roll, clip.id));
  const slate = slateText(clip);
  const held = clip.findings.filter(blocks).length;
  const frame =
    picture === undefined
      ? markup`<p>no still</p>`
      : markup`<img src="data:image/jpeg;base64,${picture.base64}" width="${picture.width}" height="${picture.height}" decoding="async" alt="${clip.name}${picture.timecode === null ? null : ` at ${picture.timecode}`}">`;
  return markup`<li><figure><div class="frame">${frame}</div>
<figcaption><strong>${name(clip.name)}</strong> ${startText(clip)}, ${clipLengthText(clip)}${slate === null ? null : markup`<br>${name(slate)}`}<br>${verdictMark(clip.verdict)}${
    held > 0 ? `: ${count(held, 'finding')} above` : null
  }</figcaption></figure></li>
`;
}

export function rollsSection(morning: Morning): Markup | null {
  const { day, withoutPictures } = morning;
  if (day.rolls.length === 0) return null;
  return markup`<section aria-labelledby="rolls">
<h2 id="rolls" tabindex="-1">Rolls</h2>
${overview(morning)}
${withoutPictures === null ? null : markup`<p class="small">${withoutPictures}</p>`}
${day.rolls.map((roll, index) => rollMarkup(roll, index, morning))}
</section>`;
}
