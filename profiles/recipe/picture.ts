/** The picture's way through the filters: from the decoder to one encoder. */
import { join } from 'node:path';
import { burnInFont } from '../../media/installation.ts';
import { printable } from '../../media/names.ts';
import { formatRatio } from '../../media/rate.ts';
import { formatTimecode } from '../../media/timecode.ts';
import type { ClipFacts } from '../../media/facts.ts';
import { colourOf } from '../outcome/colour.ts';
import { rasterOf } from '../outcome/raster.ts';
import type { Outcome } from '../outcome.ts';
import type { Profile } from '../schema.ts';
import { graphValue } from './escape.ts';

/** What stands beside the picture in a burnt-in text. */
export interface Words {
  readonly clip: string;
  readonly roll: string;
}
export interface TextFile {
  readonly path: string;
  readonly text: string;
}

/** swscale's names of matrices where they differ from ITU-T H.273's. */
const scaleMatrices: Readonly<Record<string, string>> = { bt2020nc: 'bt2020', bt2020c: 'bt2020', bt470bg: 'bt470', gbr: 'bt709' };
const matrixName = (name: string): string => scaleMatrices[name] ?? name;

/** The same picture on every machine: no shortcuts that depend on the processor. */
const SCALE_FLAGS = 'bicubic+accurate_rnd+full_chroma_int+full_chroma_inp+bitexact';

function scaleFilter(facts: ClipFacts, profile: Profile, outcome: Outcome): string[] {
  const { scaled } = rasterOf(facts.video, profile.raster);
  const { taken } = colourOf(facts.video, profile, {});
  const to = outcome.colour;
  const filters = [
    `scale=w=${scaled.width}:h=${scaled.height}:flags=${SCALE_FLAGS}:in_color_matrix=${matrixName(taken.matrix)}:out_color_matrix=${matrixName(to.matrix ?? taken.matrix)}:in_range=${taken.range}:out_range=${to.range ?? taken.range}`,
    `format=${profile.pixel_format}`,
  ];
  if (scaled.width !== outcome.width || scaled.height !== outcome.height) filters.push(`crop=w=${outcome.width}:h=${outcome.height}:exact=1`);
  filters.push('setsar=1');
  return filters;
}

function deinterlace(facts: ClipFacts): string[] {
  const order = facts.video.fieldOrder;
  if (order !== 'top-first' && order !== 'bottom-first') return [];
  return [`bwdif=mode=send_frame:parity=${order === 'top-first' ? 'tff' : 'bff'}:deint=all`];
}

function burnIn(profile: Profile, outcome: Outcome, words: Words, textFolder: string): { filters: string[]; files: TextFile[] } {
  const files: TextFile[] = [];
  const filters = profile.burn_in.map((item, index) => {
    const size = Math.max(8, Math.round((outcome.height * item.height_percent) / 100));
    const margin = Math.round(size / 2);
    const [vertical, horizontal] = item.place.split('-') as ['top' | 'bottom', 'left' | 'centre' | 'right'];
    const x = horizontal === 'left' ? String(margin) : horizontal === 'centre' ? '(w-text_w)/2' : `w-text_w-${margin}`;
    const y = vertical === 'top' ? String(margin) : `h-text_h-${margin}`;
    const look = `fontfile=${graphValue(burnInFont())}:fontsize=${size}:fontcolor=white:box=1:boxcolor=black@0.6:boxborderw=${Math.round(size / 4)}:x=${x}:y=${y}`;
    if (item.text === 'timecode') {
      const label = outcome.timecode === null ? '00:00:00:00' : formatTimecode(outcome.timecode);
      return `drawtext=timecode=${graphValue(label)}:timecode_rate=${formatRatio(outcome.rate)}:${look}`;
    }
    const texts = { clip: words.clip, roll: words.roll, reel: outcome.reel ?? words.roll, profile: profile.name };
    const file = { path: join(textFolder, `${profile.name}-${index}.txt`), text: printable(texts[item.text]) };
    files.push(file);
    return `drawtext=textfile=${graphValue(file.path)}:expansion=none:${look}`;
  });
  return { filters, files };
}

/** Filters between the split and the encoder, and the text files that they read. */
export function pictureChain(facts: ClipFacts, profile: Profile, outcome: Outcome, words: Words, textFolder: string): { filters: string[]; files: TextFile[] } {
  const text = burnIn(profile, outcome, words, textFolder);
  const { primaries, transfer, matrix, range } = outcome.colour;
  const tags = `setparams=field_mode=prog:range=${range ?? 'limited'}:color_primaries=${primaries}:color_trc=${transfer}:colorspace=${matrix}`;
  return { filters: [...deinterlace(facts), ...scaleFilter(facts, profile, outcome), ...text.filters, tags], files: text.files };
}
