/**
 * Whether a watermark lies in a picture, and whose it is. What is under it is not known and the letters are faint, so that the picture's own shapes would
 * hide them: looked at are the steps from each sample to the next, across and down. Those of letters lie where the outcome has them, in both directions and as high as
 * opacity and ground make them; those of a picture lie anywhere.
 */
import type { Rectangle } from '../framing.ts';
import { lettersLike } from './alphabet.ts';
import type { Font } from './font.ts';
import type { BurntIn } from './form.ts';
import { Glyphs } from './line.ts';
import type { Luma } from './read-line.ts';

export interface MarkFit {
  /** How high the letters are, in parts of what is stated: 1, as they must be; 0, there are none. */
  readonly height: number;
  /** Its standard error, by what the picture's own steps leave to chance. */
  readonly error: number;
}

export interface MarkReader {
  /** Of one frame, which is added to what `words` looks at. */
  fit(luma: Luma): MarkFit;
  /** Of all frames since the last time: cells that show another letter; those that were looked at. */
  words(): { readonly shown: string | null; readonly letters: number };
}

/** Of the squares between two letters, how much nearer to another one a cell must be. */
const NEARER = 0.5;
/** And by how many standard deviations of what its own letter leaves unexplained. */
const CERTAIN = 7;
/** Codes of 8 bits: steps of a picture that is flat. */
const LEAST_NOISE = 0.5;

/** Y' of a picture of 8 bits, at the most. */
const BRIGHTEST = 254;

interface Cell {
  readonly steps: Float32Array;
  /** Sum of their squares. */
  readonly energy: number;
  /** Mean of how much is covered. */
  readonly covered: number;
}

export function markReader(item: BurntIn, window: Rectangle, font: Font): MarkReader {
  const { letters, look, box, words } = item;
  if (words.kind !== 'same') throw new RangeError('a watermark that counts');
  const characters = [...words.text];
  const glyphs = new Glyphs(font, letters.size);
  const opacity = look.opacity.num / look.opacity.den;
  const cover = look.cover.num / look.cover.den;
  /** Over the brightest ground that there can be. */
  const least = opacity * (look.letters - (cover * look.ground + (1 - cover) * BRIGHTEST));
  const { pitch } = letters;
  const { height } = box;
  const top = box.top - window.top;
  const across = (pitch - 1) * height;
  const size = across + pitch * (height - 1);
  const cells = new Map<string, Cell>();

  const cellOf = (character: string): Cell => {
    const known = cells.get(character);
    if (known !== undefined) return known;
    const glyph = glyphs.of(character.codePointAt(0) as number);
    const covered = new Float32Array(pitch * height);
    const base = letters.baseline - box.top;
    for (let row = 0; row < glyph.height; row += 1)
      for (let column = 0; column < glyph.width; column += 1) {
        const [x, y] = [glyph.left + column, base + glyph.top + row];
        if (x >= 0 && x < pitch && y >= 0 && y < height)
          covered[y * pitch + x] = glyph.values[row * glyph.width + column] as number;
      }
    const steps = stepsOf(covered, pitch, height, new Float32Array(size));
    const cell = { steps, energy: product(steps, steps), covered: mean(covered) };
    cells.set(character, cell);
    return cell;
  };

  const wanted = characters.map(cellOf);
  /** Sums over frames: of steps, and of how high a step of one is stated to be. */
  const sums = characters.map(() => new Float64Array(size));
  const stated = new Float64Array(characters.length);
  const values = new Float64Array(pitch * height);
  const steps = new Float64Array(size);
  let frames = 0;

  return {
    fit: (luma) => {
      let [weighted, weight] = [0, 0];
      frames += 1;
      for (const [index, cell] of wanted.entries()) {
        const left = letters.left - window.left + index * pitch;
        for (let y = 0; y < height; y += 1)
          for (let x = 0; x < pitch; x += 1)
            values[y * pitch + x] = luma.values[(top + y) * luma.width + left + x] as number;
        stepsOf(values, pitch, height, steps);
        const clear = opacity * cell.covered;
        const ground = (mean(values) - clear * look.letters) / (1 - clear);
        const high = Math.max(least, opacity * (look.letters - ground));
        const sum = sums[index] as Float64Array;
        for (let at = 0; at < size; at += 1) sum[at] = (sum[at] as number) + (steps[at] as number);
        stated[index] = (stated[index] as number) + high;
        if (cell.energy < 1e-6) continue;
        const common = product(steps, cell.steps);
        const rest = (product(steps, steps) - common ** 2 / cell.energy) / size;
        const noise = Math.max(LEAST_NOISE ** 2, rest);
        weighted += (high * common) / noise;
        weight += (high ** 2 * cell.energy) / noise;
      }
      return weight === 0
        ? { height: 0, error: Number.POSITIVE_INFINITY }
        : { height: weighted / weight, error: 1 / Math.sqrt(weight) };
    },
    words: () => {
      if (frames === 0) return { shown: null, letters: 0 };
      const means = sums.map((sum) => sum.map((value) => value / frames));
      const highs = [...stated].map((value) => value / frames);
      // A codec lowers all letters alike.
      let [together, energy] = [0, 0];
      for (const [index, { steps: own, energy: squares }] of wanted.entries()) {
        together += (highs[index] as number) * product(means[index] as Float64Array, own);
        energy += (highs[index] as number) ** 2 * squares;
      }
      const weaker = energy < 1e-6 ? 1 : Math.min(1, Math.max(0.3, together / energy));
      const costOf = (found: Float64Array, { steps: own, energy: squares }: Cell, high: number): number =>
        product(found, found) - 2 * high * product(found, own) + high ** 2 * squares;
      const own = means.map((found, index) =>
        costOf(found, wanted[index] as Cell, weaker * (highs[index] as number)),
      );
      const line = own.reduce((sum, one) => sum + one, 0) / Math.max(1, own.length * size);
      let isOther = false;
      const shown = characters.map((character, index) => {
        const found = means[index] as Float64Array;
        const high = weaker * (highs[index] as number);
        const cell = wanted[index] as Cell;
        const left = own[index] as number;
        let nearest = { character, cost: left };
        for (const other of lettersLike(words.text, font)) {
          const cost = costOf(found, cellOf(other), high);
          if (cost < nearest.cost) nearest = { character: other, cost };
        }
        const other = cellOf(nearest.character);
        const apart = high ** 2 * (cell.energy + other.energy - 2 * product(cell.steps, other.steps));
        const gained = left - nearest.cost;
        const noise = Math.max(LEAST_NOISE ** 2 / frames, line, nearest.cost / size);
        if (gained <= NEARER * apart || gained + apart <= CERTAIN * 2 * Math.sqrt(noise * apart))
          return character;
        isOther = true;
        return nearest.character;
      });
      for (const sum of sums) sum.fill(0);
      stated.fill(0);
      frames = 0;
      return { shown: isOther ? shown.join('') : null, letters: characters.length };
    },
  };
}

/** From each sample to that on its right, then to that below it. */
function stepsOf<Into extends Float32Array | Float64Array>(
  values: Float32Array | Float64Array,
  width: number,
  height: number,
  into: Into,
): Into {
  let at = 0;
  for (let y = 0; y < height; y += 1)
    for (let x = 0; x + 1 < width; x += 1)
      into[at++] = (values[y * width + x + 1] as number) - (values[y * width + x] as number);
  for (let place = 0; place + width < width * height; place += 1)
    into[at++] = (values[place + width] as number) - (values[place] as number);
  return into;
}

function product(one: ArrayLike<number>, other: ArrayLike<number>): number {
  let sum = 0;
  for (let at = 0; at < one.length; at += 1) sum += (one[at] as number) * (other[at] as number);
  return sum;
}

function mean(values: ArrayLike<number>): number {
  let sum = 0;
  for (let at = 0; at < values.length; at += 1) sum += values[at] as number;
  return sum / values.length;
}
