/** The font of burnt-in text, read once by our own reader. */
import { readFileSync } from 'node:fs';
import { burnInFont } from '../../files/installation.ts';
import { type Font, readFont } from './font.ts';

let font: Font | undefined;

/** Throws FontDamage, and what node:fs throws: the font comes with the installation. */
export function burnInFace(): Font {
  font ??= readFont(readFileSync(burnInFont()));
  return font;
}
