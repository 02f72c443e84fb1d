/** What each text of a profile says of a clip, before it is drawn; a value that nobody knows is said to be missing, in the picture and beside it. */
import { type Finding, finding } from '../../findings/finding.ts';
import { printable } from '../../files/names.ts';
import type { ClipFacts } from '../../media/facts.ts';
import type { Timecode } from '../../media/time/timecode.ts';
import type { Font } from '../../proof/text/font.ts';
import type { Words } from '../../proof/text/form.ts';
import type { Split } from '../cadence.ts';
import type { Profile } from '../schema.ts';
import { lookName } from '../shown/name.ts';
import type { Shown } from '../shown/schema.ts';
import { charactersText, unwritable, writable } from './letters.ts';
import { recordedDate } from './recorded-date.ts';
import type { ClockFacts } from './source-clock.ts';

export type TextItem = Profile['burn_in'][number];

export interface SaidOf {
  /** Of the first frame as it is delivered, in its own counting; null: none. */
  readonly timecode: Timecode | null;
  /** `clip` as the camera named it; `reel` of the source, or the roll. */
  readonly names: { readonly clip: string; readonly roll: string; readonly reel: string };
  readonly profile: string;
  readonly facts: ClockFacts &
    Pick<ClipFacts, 'kind' | 'firstNumber' | 'burnIn'> & { readonly video: { readonly frames: number } };
  /** null: pictures stay as recorded. */
  readonly shown: Shown | null;
  /** Each field of a frame is one, and has the number of that; null, or absent: numbers are of frames. */
  readonly split?: Split | null;
}

/** `kind: name`: may lose its end where there is no room. */
export type Said = { readonly from: string | null } & (
  | { readonly kind: 'counted'; readonly words: Exclude<Words, { kind: 'same' }> }
  | { readonly kind: 'name'; readonly words: string }
);

interface Value {
  readonly words: string | null;
  readonly from: string | null;
  /** Stated by people for the picture: what cannot be written is refused. */
  readonly isStated?: true;
}

function clipValue({ text, words }: TextItem, { names, profile, facts, shown }: SaidOf): Value {
  const own = (value: string): Value => ({ words: value, from: null });
  switch (text) {
    case 'clip':
    case 'roll':
    case 'reel':
      return own(names[text]);
    case 'profile':
      return own(profile);
    case 'camera':
      return { words: facts.burnIn?.camera?.name ?? null, from: facts.burnIn?.camera?.from ?? null };
    case 'date': {
      const date = recordedDate(facts, facts.burnIn?.timeZone ?? null);
      return { words: date?.text ?? null, from: date?.from ?? null };
    }
    case 'look':
      return own(lookName(shown));
    case 'words':
      return { words: words ?? null, from: 'profile', isStated: true };
    case 'timecode':
    case 'frame':
      // There is nothing to count from.
      return { words: null, from: null };
  }
}

/** Digits of every number: as many as the last one needs. */
function frameNumbers({ facts, split = null }: SaidOf): Said {
  const isNumbered = facts.kind === 'sequence' && facts.firstNumber !== undefined;
  const start = isNumbered ? (facts.firstNumber ?? 0) : 0;
  const digits = Math.max(4, String(start + Math.max(1, facts.video.frames) - 1).length);
  return {
    kind: 'counted',
    from: isNumbered ? 'numbers of the files' : 'counted from 0',
    words: { kind: 'frame', start, each: split === null ? 1 : 2, digits },
  };
}

/** `notes` hold nothing, `refusals` do. */
export function saidBy(
  item: TextItem,
  of: SaidOf,
  font: Font,
): { readonly said: Said; readonly notes: readonly Finding[]; readonly refusals: readonly Finding[] } {
  const { text } = item;
  const { timecode } = of;
  if (text === 'timecode' && timecode !== null)
    return {
      said: { kind: 'counted', from: null, words: { kind: 'timecode', start: timecode } },
      notes: [],
      refusals: [],
    };
  if (text === 'frame') return { said: frameNumbers(of), notes: [], refusals: [] };
  const value = clipValue(item, of);
  const wanted = value.words?.trim() ?? '';
  if (wanted === '')
    return {
      said: { kind: 'name', words: `no ${text}`, from: null },
      notes: [finding('burn-in-missing', `${text}: the clip does not say it`, 'a value to write')],
      refusals: [],
    };
  if (value.isStated) {
    const refused = unwritable(wanted, font);
    return {
      said: { kind: 'name', words: writable(wanted, font).text, from: value.from },
      notes: [],
      refusals: refused.length === 0 ? [] : [wordsRefused(`words of the ${value.from}`, wanted, refused)],
    };
  }
  const { text: words, escaped } = writable(wanted, font);
  return {
    said: { kind: 'name', words, from: value.from },
    notes:
      escaped.length === 0
        ? []
        : [
            finding(
              'burn-in-unwritable',
              `${text} ${JSON.stringify(printable(wanted))}: ${charactersText(escaped)}`,
              'letters that the font has',
            ),
          ],
    refusals: [],
  };
}

/** Of words that people state: `whose` for people. */
export const wordsRefused = (whose: string, words: string, refused: readonly string[]): Finding =>
  finding(
    'burn-in-words-unwritable',
    `${whose} ${JSON.stringify(printable(words))}: ${charactersText(refused)}`,
    'letters that the font has',
  );
