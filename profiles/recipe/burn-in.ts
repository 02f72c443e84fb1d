/**
 * Text in the picture, as the outcome places it: a darkened box, and words drawn with the font that comes along. Names are read from files, so that no
 * character of one means anything to a filter.
 */
import { join } from 'node:path';
import { burnInFont } from '../../files/installation.ts';
import type { Timecode } from '../../media/time/timecode.ts';
import { type BurntIn, isWatermark } from '../../proof/text/form.ts';
import { frameDigits } from '../../proof/text/words.ts';
import type { Outcome } from '../outcome.ts';
import { graphValue } from './escape.ts';

export interface TextFile {
  readonly path: string;
  readonly text: string;
}

/** Cuts a part out of the picture; nothing of a pixel is left of an empty one. */
interface Part {
  readonly name: string;
  readonly x: number;
  readonly y: number;
  readonly width: number;
  readonly height: number;
  readonly filters: readonly string[];
}

/** The picture mixed with one colour: whole codes, to the nearest. Ties do not occur: shares are of an odd number. */
function darkened({ ground, cover }: BurntIn['look'], bits: number): string {
  const up = 2 ** (bits - 8);
  const mixed = (into: number): string =>
    `floor((${cover.den - cover.num}*val+${cover.num * into * up})/${cover.den}+1/2)`;
  return `lutyuv=y=${mixed(ground)}:u=${mixed(128)}:v=${mixed(128)}`;
}

/**
 * The box alone goes through a table: the picture is taken apart around it and put together again. FFmpeg's filters that draw boxes or lay
 * pictures over others take only some pixel formats, and each blends in its own way.
 */
function box(
  { box: { left, top, width, height }, look }: BurntIn,
  { picture, bits, pad }: { readonly picture: Outcome; readonly bits: number; readonly pad: string },
): string {
  const right = left + width;
  const below = top + height;
  const parts: Part[] = [
    { name: 'above', x: 0, y: 0, width: picture.width, height: top, filters: [] },
    { name: 'left', x: 0, y: top, width: left, height, filters: [] },
    { name: 'box', x: left, y: top, width, height, filters: [darkened(look, bits)] },
    { name: 'right', x: right, y: top, width: picture.width - right, height, filters: [] },
    { name: 'below', x: 0, y: below, width: picture.width, height: picture.height - below, filters: [] },
  ].filter((part) => part.width > 0 && part.height > 0);
  const labels = (of: readonly Part[], end = ''): string =>
    of.map(({ name }) => `[${pad}-${name}${end}]`).join('');
  const isBeside = ({ name }: Part): boolean => name === 'left' || name === 'box' || name === 'right';
  const beside = parts.filter(isBeside);
  const above = parts.filter(({ name }) => name === 'above');
  const under = parts.filter(({ name }) => name === 'below');
  const stack = (kind: 'hstack' | 'vstack', count: number): string =>
    count === 1 ? 'null' : `${kind}=inputs=${count}`;
  return [
    `split=${parts.length}${labels(parts)}`,
    ...parts.map((part) => {
      const cut = `crop=w=${part.width}:h=${part.height}:x=${part.x}:y=${part.y}:exact=1`;
      return `[${pad}-${part.name}]${[cut, ...part.filters].join(',')}[${pad}-${part.name}-cut]`;
    }),
    `${labels(beside, '-cut')}${stack('hstack', beside.length)}[${pad}-row]`,
    `${labels(above, '-cut')}[${pad}-row]${labels(under, '-cut')}${stack('vstack', above.length + 1 + under.length)}`,
  ].join(';');
}

/** A grey that FFmpeg turns into this code: it takes colours for R'G'B' of full range. */
function grey(code: number): string {
  const level = Math.round(((code - 16) * 255) / 219);
  return `0x${level.toString(16).padStart(2, '0').repeat(3)}`;
}

/** A share of whole 255ths, as FFmpeg has it: `@0x66`. */
function seenThrough({ num, den }: BurntIn['look']['opacity']): string {
  const part = (255 * num) / den;
  if (!Number.isInteger(part)) throw new RangeError(`letters of ${num}/${den}`);
  return `@0x${part.toString(16).padStart(2, '0')}`;
}

/**
 * One character, on whole pixels, as the font draws it without hinting. Each has a filter of its own: how far apart a line puts its
 * characters, to the pixel or to a quarter of one, differs between versions of FFmpeg.
 */
function character(
  { letters: { size, left, baseline, pitch }, look }: BurntIn,
  index: number,
  words: string,
  alignsText: boolean,
): string {
  // From 6.1 on, `ascent` is not always that of the glyph that is drawn; before, there was no way to name the base line.
  const y = alignsText ? `${baseline}:y_align=baseline` : `${baseline}-ascent`;
  const colour = `${grey(look.letters)}${isWatermark({ look }) ? seenThrough(look.opacity) : ''}`;
  return `drawtext=${words}:fontfile=${graphValue(burnInFont())}:fontsize=${size}:fontcolor=${colour}:ft_load_flags=no_hinting:text_shaping=0:x=${left + index * pitch}:y=${y}`;
}

/**
 * Filters, each to be put behind the last with a comma, and the files that they read. `key` keeps files and pads of several deliverables apart;
 * `bits`: of a sample; `alignsText`: whether drawtext places text by its base line (FFmpeg 6.1 and later).
 */
export function burnIn({
  outcome,
  bits,
  textFolder,
  key,
  alignsText,
}: {
  readonly outcome: Outcome;
  readonly bits: number;
  readonly textFolder: string;
  readonly key: string;
  readonly alignsText: boolean;
}): { filters: string[]; files: TextFile[] } {
  const files: TextFile[] = [];
  const filters = outcome.burnIn.flatMap((item, index) => {
    const pad = `${key}-${index}`;
    return [
      box(item, { picture: outcome, bits, pad }),
      ...charactersOf(item, join(textFolder, pad), files).map((words, at) =>
        character(item, at, words, alignsText),
      ),
    ];
  });
  return { filters, files };
}

/** What each drawtext is asked for. A blank too, so that places stay plain. */
function charactersOf({ words }: BurntIn, path: string, files: TextFile[]): string[] {
  if (words.kind === 'timecode') return labelCharacters(words.start);
  if (words.kind === 'frame')
    return digits(`(${words.each === 1 ? 'n' : `floor(n/${words.each})`}+${words.start})`, words.digits);
  return [...words.text].map((text, at) => {
    files.push({ path: `${path}-${at}.txt`, text });
    return `textfile=${graphValue(`${path}-${at}.txt`)}:expansion=none`;
  });
}

/** The lowest digits of a whole number, one drawtext each. */
function digits(number: string, length: number): string[] {
  const digit = (of: string): string => `text=${graphValue(`%{eif:${of}:d}`)}`;
  return Array.from({ length }, (_, at) => digit(`mod(floor((${number})/${10 ** (length - 1 - at)}),10)`));
}

/**
 * The characters of a label that counts on with each frame (`n`): as FFmpeg's expressions, one digit each. SMPTE ST 12-1: the day
 * ends at 24 hours, and drop-frame leaves out labels of each minute but every tenth.
 */
function labelCharacters({ frame, base, drop }: Timecode): string[] {
  // Two labels of each 30, and frames of ten minutes and of a day: counted here apart from `media/time`, by which the checker goes.
  const dropped = drop ? base / 15 : 0;
  const [ten, minute] = [600 * base - 9 * dropped, 60 * base - dropped];
  const count = `mod(n+${frame},${144 * ten})`;
  const label = drop
    ? `(${count}+${9 * dropped}*floor(${count}/${ten})+${dropped}*max(0,floor((mod(${count},${ten})-${dropped})/${minute})))`
    : count;
  const mark = (text: string): string => `text=${graphValue(text)}:expansion=none`;
  const seconds = `floor(${label}/${base})`;
  return [
    ...digits(`floor(${seconds}/3600)`, 2),
    mark(':'),
    ...digits(`mod(floor(${seconds}/60),60)`, 2),
    mark(':'),
    ...digits(`mod(${seconds},60)`, 2),
    mark(drop ? ';' : ':'),
    ...digits(`mod(${label},${base})`, frameDigits(base)),
  ];
}
