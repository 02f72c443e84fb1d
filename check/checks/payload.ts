import { payloadText } from '../../proof/payload.ts';
import type { Check } from '../check.ts';

/** The file holds, stream by stream and bit by bit, the packets that left the encoders. */
export const payload: Check = {
  name: 'payload',
  rests: ['decode', 'encoded'],
  run: ({ measured: { witness }, encoded }) => {
    if (witness === null || encoded === null) return null;
    const measured = payloadText(witness.payload);
    const expected = payloadText(encoded);
    return {
      measured,
      expected,
      faults:
        measured === expected && encoded.streams.length > 0
          ? []
          : [{ code: 'payload-differs', found: measured, expected }],
    };
  },
};
