import type { ExactVerdict } from '../../proof/exact.ts';
import type { Check, CheckVerdict } from '../check.ts';

/** More would bury the first. */
const MAX_LISTED = 4;

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
    .slice(0, MAX_LISTED)
    .map(({ frame, shows }) =>
      shows === null ? `frame ${frame}` : `frame ${frame} (the samples of source frame ${shows})`,
    );
  return [
    {
      code: 'pictures-not-kept',
      found: `other samples from frame ${first.frame} on: ${list.join(', ')}${others.length > MAX_LISTED ? ` and ${others.length - MAX_LISTED} more` : ''}`,
      expected: 'the samples of every source frame, in its place',
    },
  ];
}

/** Every picture and every audio track decodes to the very samples that the source decoded to, by SHA-256 of each. */
export const lossless: Check = {
  name: 'lossless',
  rests: ['decode', 'fingerprints'],
  run: ({ compared: { exact }, outcome: { frames, audio, exact: wanted } }) => {
    // A track of which nothing was recorded is not proved, and neither is anything that was not to be kept.
    if (exact === null || wanted === null || exact.audioTracks.includes(null)) return null;
    const audioFaults = exact.audioTracks.flatMap((same, track) =>
      same === true
        ? []
        : [
            {
              code: 'audio-not-kept' as const,
              found: `track ${track + 1}: other samples`,
              expected: 'the samples of the source',
            },
          ],
    );
    const equal = exact.output - exact.others.length;
    return {
      measured: `${equal} of ${exact.output} pictures and ${exact.audioTracks.filter((same) => same === true).length} of ${audio.length} audio tracks the same to the bit, as ${wanted.comparedIn}`,
      expected: `${frames} pictures and ${audio.length} audio tracks, sample for sample as the source decodes`,
      faults: [...pictureFaults(exact, frames), ...audioFaults],
    };
  },
};
