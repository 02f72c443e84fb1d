import type { Check } from '../check.ts';

/** The whole file decoded once, every stream, first to last: no line of error, and as many pictures as planned. An exit code alone proves nothing. */
export const decode: Check = {
  name: 'decode',
  rests: ['packets', 'decode'],
  run: ({ measured: { decode: decoded, evidence }, outcome }) => {
    if (decoded === null || evidence === null) return null;
    const errors = [...decoded.errors, ...evidence.readErrors];
    const count = decoded.errorCount + evidence.readErrors.length + evidence.markedPackets;
    const whole =
      decoded.ended === 'exited' &&
      decoded.exitCode === 0 &&
      count === 0 &&
      decoded.frames === outcome.frames;
    const end = decoded.ended === 'exited' ? `exit code ${decoded.exitCode}` : decoded.ended;
    const measured = `${decoded.frames} pictures, ${count} errors, ${end}${errors[0] === undefined ? '' : `; first: ${errors[0]}`}`;
    const expected = `${outcome.frames} pictures, 0 errors, exit code 0`;
    return {
      measured,
      expected,
      faults: whole ? [] : [{ code: 'does-not-decode', found: measured, expected }],
    };
  },
};
