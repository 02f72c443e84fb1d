/**
 * Text in the picture, as the outcome places it: a darkened box, and words drawn with the font that comes along. Names are read from files, so that no
 * character of one means anything to a filter.
 */
import { join } from 'node:path';
import { burnInFont } from '../../files/installation.ts';
import { formatRatio, type Rate } from '../../media/time/rate.ts';
import { formatTimecode } from '../../media/time/timecode.ts';
import type { BurntIn } from '../../proof/text/form.ts';
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

/** Glyphs as the font draws them, on whole pixels, each character for itself: what can be said of them without the renderer. */
function letters({ letters: { size, left, baseline }, look }: BurntIn, words: string): string {
  return `drawtext=${words}:fontfile=${graphValue(burnInFont())}:fontsize=${size}:fontcolor=${grey(look.letters)}:ft_load_flags=no_hinting:text_shaping=0:x=${left}:y=${baseline}-ascent`;
}

/**
 * Filters, each to be put behind the last with a comma, and the files that they read. `key` keeps files and pads of several deliverables apart;
 * `bits`: of a sample.
 */
export function burnIn({
  outcome,
  bits,
  textFolder,
  key,
}: {
  readonly outcome: Outcome;
  readonly bits: number;
  readonly textFolder: string;
  readonly key: string;
}): { filters: string[]; files: TextFile[] } {
  const files: TextFile[] = [];
  const filters = (outcome.burnIn ?? []).flatMap((item, index) => {
    const pad = `${key}-${index}`;
    const words = wordsFor(item, { rate: outcome.rate, path: join(textFolder, `${pad}.txt`), files });
    return [box(item, { picture: outcome, bits, pad }), letters(item, words)];
  });
  return { filters, files };
}

function wordsFor(
  { words }: BurntIn,
  { rate, path, files }: { readonly rate: Rate; readonly path: string; readonly files: TextFile[] },
): string {
  if (words.kind === 'timecode')
    return `timecode=${graphValue(formatTimecode(words.start))}:timecode_rate=${formatRatio(rate)}:tc24hmax=1`;
  files.push({ path, text: words.text });
  return `textfile=${graphValue(path)}:expansion=none`;
}
