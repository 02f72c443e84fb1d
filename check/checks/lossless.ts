import type { ExactVerdict } from '../../proof/exact.ts';
import type { Check, CheckVerdict } from '../check.ts';

/** More would bury the first. */
const TOLD = 4;

function pictureFaults({ others, source, output }: ExactVerdict, frames: number): CheckVerdict['faults'] {
  if (source !== frames || output !== frames)
    return [
      {
        code: 'pictures-not-kept',
        found: `${output} pictures, of ${source} of the source`,
        expected: `${frames} of each`,
      },
    ];
  const [first] = others;
  if (first === undefined) return [];
  const list = others
    .slice(0, TOLD)
    .map(({ frame, shows }) =>
      shows === null ? `frame ${frame}` : `frame ${frame} (the samples of source frame ${shows})`,
    );
  return [
    {
      code: 'pictures-not-kept',
      found: `other samples from frame ${first.frame} on: ${list.join(', ')}${others.length > TOLD ? ` and ${others.length - TOLD} more` : ''}`,
      expected: 'the samples of every source frame, in its place',
    },
  ];
}

/** Every picture and every sound track decodes to the very samples that the source decoded to, by SHA-256 of each. */
export const lossless: Check = {
  name: 'lossless',
  rests: ['decode', 'trail'],
  run: ({ compared: { exact }, outcome: { frames, audio, exact: wanted } }) => {
    // A sound that was not told is not proved, and neither is anything that was not to be kept.
    if (exact === null || wanted === undefined || exact.sounds.includes(null)) return null;
    const soundFaults = exact.sounds.flatMap((same, track) =>
      same === true
        ? []
        : [
            {
              code: 'sound-not-kept' as const,
              found: `track ${track + 1}: other samples`,
              expected: 'the samples of the source',
            },
          ],
    );
    const equal = exact.output - exact.others.length;
    return {
      measured: `${equal} of ${exact.output} pictures and ${exact.sounds.filter((same) => same === true).length} of ${audio.length} sound tracks the same to the bit, as ${wanted.comparedIn}`,
      expected: `${frames} pictures and ${audio.length} sound tracks, sample for sample as the source decodes`,
      faults: [...pictureFaults(exact, frames), ...soundFaults],
    };
  },
};
