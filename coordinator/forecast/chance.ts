/** Numbers by chance that are the same for the same seed, on every machine. For forecasts alone: nothing secret comes from here. */

export interface Chance {
  /** From 0 up to 1, which it never is. */
  even(): number;
  /** Of the normal distribution with mean 0 and standard deviation 1. */
  normal(): number;
}

/** sfc32 (Chris Doty-Humphrey, PractRand), seeded by what it gives after a few turns on the seed. */
export function chanceOf(seed: number): Chance {
  let [a, b, c, counter] = [seed | 0, (seed / 2 ** 32) | 0, 0x9e3779b9 | 0, 1];
  const next = (): number => {
    const sum = (((a + b) | 0) + counter) | 0;
    counter = (counter + 1) | 0;
    a = b ^ (b >>> 9);
    b = (c + (c << 3)) | 0;
    c = ((c << 21) | (c >>> 11)) + sum;
    c |= 0;
    return (sum >>> 0) / 2 ** 32;
  };
  for (let turn = 0; turn < 16; turn += 1) next();
  let spare: number | null = null;
  const normal = (): number => {
    if (spare !== null) {
      const kept = spare;
      spare = null;
      return kept;
    }
    // Box and Muller (1958): two even numbers make two normal ones.
    const radius = Math.sqrt(-2 * Math.log(1 - next()));
    const angle = 2 * Math.PI * next();
    spare = radius * Math.sin(angle);
    return radius * Math.cos(angle);
  };
  return { even: next, normal };
}
