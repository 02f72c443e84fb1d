/** What a letter of a text could be taken for: printable ASCII, the mark of what was cut off, and the letters of the scripts that the text is written in. */
import type { Font } from './font.ts';

const ASCII = Array.from({ length: 95 }, (_, index) => String.fromCodePoint(32 + index));
export const PLAIN: readonly string[] = [...ASCII, '…'];

/** Unicode, "Blocks": Latin with its accents, those of Vietnamese among them; Greek; Cyrillic. First and last, both included. */
const SCRIPTS: readonly {
  readonly script: RegExp;
  readonly blocks: readonly (readonly [number, number])[];
}[] = [
  {
    script: /[^\p{ASCII}]/u,
    blocks: [
      [0xa1, 0x17f],
      [0x1a0, 0x1b0],
    ],
  },
  { script: /[\u1e00-\u1eff]/u, blocks: [[0x1e00, 0x1eff]] },
  { script: /\p{Script=Greek}/u, blocks: [[0x370, 0x3ff]] },
  { script: /\p{Script=Cyrillic}/u, blocks: [[0x400, 0x4ff]] },
];

const alphabets = new Map<string, readonly string[]>();

/** Each once; letters that the font does not have, or not as wide as the others, are left out. */
export function lettersLike(words: string, font: Font): readonly string[] {
  const used = SCRIPTS.filter(({ script }) => script.test(words));
  const key = used.map(({ script }) => script.source).join(' ');
  const known = alphabets.get(key);
  if (known !== undefined) return known;
  const wide = font.advanceOf(font.glyphOf(0x30));
  const further = used.flatMap(({ blocks }) =>
    blocks.flatMap(([first, last]) =>
      Array.from({ length: last - first + 1 }, (_, index) => first + index).flatMap((code) => {
        const glyph = font.glyphOf(code);
        const character = String.fromCodePoint(code);
        return glyph === 0 || font.advanceOf(glyph) !== wide || !/[\p{L}\p{N}]/u.test(character)
          ? []
          : [character];
      }),
    ),
  );
  const letters = [...new Set([...PLAIN, ...further])];
  alphabets.set(key, letters);
  return letters;
}
