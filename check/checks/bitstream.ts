import { bitstreamText } from '../../proof/bitstream.ts';
import type { Check } from '../check.ts';

/** The file holds, stream by stream and bit by bit, the packets that left the encoders. */
export const bitstream: Check = {
  name: 'bitstream',
  rests: ['decode', 'encoded'],
  run: ({ measured: { witness }, encoded }) => {
    if (witness === null || encoded === null) return null;
    const measured = bitstreamText(witness.bitstream);
    const expected = bitstreamText(encoded);
    return {
      measured,
      expected,
      faults:
        measured === expected && encoded.streams.length > 0
          ? []
          : [{ code: 'bitstream-differs', found: measured, expected }],
    };
  },
};
