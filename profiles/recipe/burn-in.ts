/** Text in the picture: drawn with the font that comes along, from files, so that no character of a name means anything to a filter. */
import { join } from 'node:path';
import { burnInFont } from '../../files/installation.ts';
import { printable } from '../../files/names.ts';
import { formatRatio } from '../../media/time/rate.ts';
import { formatTimecode } from '../../media/time/timecode.ts';
import { lineHeight, SMALLEST_LETTERS } from '../outcome/covered.ts';
import type { Outcome } from '../outcome.ts';
import type { Profile } from '../schema.ts';
import { graphValue } from './escape.ts';

/** What a burnt-in text can say beside what the outcome knows. `clip`: as the camera named it; `reel`: of the source, or the roll. */
export interface Words {
  readonly clip: string;
  readonly roll: string;
  readonly reel: string;
}
export interface TextFile {
  readonly path: string;
  readonly text: string;
}

type Item = Profile['burn_in'][number];

/** Width of every character of the font, DejaVu Sans Mono: 1233 of 2048 units an em (its hmtx table). */
const ADVANCE = { num: 1233, den: 2048 } as const;

/** Letter size in pixels and the text that fits: smaller letters first, then a shorter text. */
function fitted(text: string, wanted: number, room: number): { size: number; text: string } {
  const characters = [...text];
  const fits = (size: number): number => Math.floor((room * ADVANCE.den) / (size * ADVANCE.num));
  const size = Math.max(
    SMALLEST_LETTERS,
    Math.min(wanted, Math.floor((room * ADVANCE.den) / (Math.max(1, characters.length) * ADVANCE.num))),
  );
  const most = Math.max(1, fits(size));
  return { size, text: characters.length <= most ? text : `${characters.slice(0, most - 1).join('')}…` };
}

function position(place: Item['place'], margin: number): string {
  const [vertical, horizontal] = place.split('-') as ['top' | 'bottom', 'left' | 'centre' | 'right'];
  const x =
    horizontal === 'left' ? String(margin) : horizontal === 'centre' ? '(w-text_w)/2' : `w-text_w-${margin}`;
  return `x=${x}:y=${vertical === 'top' ? String(margin) : `h-text_h-${margin}`}`;
}

/** Filters, and the files that they read. `key` keeps the files of several deliverables in one folder apart. */
export function burnIn({
  profile,
  outcome,
  words,
  textFolder,
  key,
}: {
  readonly profile: Profile;
  readonly outcome: Outcome;
  readonly words: Words;
  readonly textFolder: string;
  readonly key: string;
}): { filters: string[]; files: TextFile[] } {
  const files: TextFile[] = [];
  const filters = profile.burn_in.map((item, index) => {
    const label =
      item.text === 'timecode' && outcome.timecode !== null ? formatTimecode(outcome.timecode) : null;
    const texts = {
      clip: words.clip,
      roll: words.roll,
      reel: words.reel,
      profile: profile.name,
      timecode: '',
    };
    const tall = lineHeight(item, outcome.height);
    const margin = Math.round(tall / 2);
    const inRow = profile.burn_in.filter((other) =>
      other.place.startsWith(item.place.split('-')[0] as string),
    ).length;
    const { size, text } = fitted(
      label ?? printable(texts[item.text]),
      tall,
      Math.floor(outcome.width / inRow) - 2 * margin,
    );
    const look = `fontfile=${graphValue(burnInFont())}:fontsize=${size}:fontcolor=white:box=1:boxcolor=black@0.6:boxborderw=${Math.round(size / 4)}:${position(item.place, margin)}`;
    if (label !== null)
      return `drawtext=timecode=${graphValue(label)}:timecode_rate=${formatRatio(outcome.rate)}:tc24hmax=1:${look}`;
    const file = { path: join(textFolder, `${key}-${index}.txt`), text };
    files.push(file);
    return `drawtext=textfile=${graphValue(file.path)}:expansion=none:${look}`;
  });
  return { filters, files };
}
