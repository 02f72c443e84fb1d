/**
 * Time addresses as frames carry them, read for the checker alone: a word of 32 bits with the two decimal digits of hours, minutes,
 * seconds and frames from the top byte down (SMPTE ST 12-1), in the places that ImfTimeCode.h of OpenEXR gives for its stored form
 * (packing for 60-field television); DPX stores the same word (ST 268-1). A second word holds the user's data.
 */

/** Places by bit, from the lowest. */
const places = {
  frames: { units: 0, tens: 4, tensBits: 2 },
  seconds: { units: 8, tens: 12, tensBits: 3 },
  minutes: { units: 16, tens: 20, tensBits: 3 },
  hours: { units: 24, tens: 28, tensBits: 2 },
} as const;
const DROP_BIT = 6;
const FIELD_BIT = 15;
/** Bits that a frame of a master never sets, and what they would say. */
const unmeant = [
  { bit: 7, words: 'the colour frame flag' },
  { bit: 23, words: 'binary group flag 0' },
  { bit: 30, words: 'binary group flag 1' },
  { bit: 31, words: 'binary group flag 2' },
] as const;
/** Frames of an address count to 29 (ST 12-1); faster pictures are counted in pairs, and the field mark is on the second of a pair. */
const FRAMES_OF_AN_ADDRESS = 30;

const bits = (word: number, at: number, count: number): number => (word >>> at) & ((1 << count) - 1);

/**
 * The label as people write it, `HH:MM:SS:FF` or `HH:MM:SS;FF`, and behind it in words whatever else the two words say. `base`: of the
 * labels that are expected, which decides whether frames are counted in pairs. Nothing is put right: digits above 9 and labels that do
 * not exist come out as they are stored.
 */
export function labelOf(word: number, userData: number, base: number): string {
  const field = (name: keyof typeof places): [tens: number, units: number] => {
    const { units, tens, tensBits } = places[name];
    return [bits(word, tens, tensBits), bits(word, units, 4)];
  };
  const paired = base > FRAMES_OF_AN_ADDRESS;
  const second = bits(word, FIELD_BIT, 1);
  const [tens, units] = field('frames');
  const frames = paired ? String(2 * (10 * tens + units) + second).padStart(2, '0') : `${tens}${units}`;
  const said = [
    ...([...field('hours'), ...field('minutes'), ...field('seconds'), units].some((digit) => digit > 9)
      ? ['digits above 9']
      : []),
    ...(!paired && second === 1 ? ['the field mark'] : []),
    ...unmeant.filter(({ bit }) => bits(word, bit, 1) === 1).map(({ words }) => words),
    ...(userData === 0 ? [] : [`user data ${userData.toString(16).padStart(8, '0')}`]),
  ];
  const label = `${field('hours').join('')}:${field('minutes').join('')}:${field('seconds').join('')}${bits(word, DROP_BIT, 1) === 1 ? ';' : ':'}${frames}`;
  return [label, ...said].join(', ');
}
