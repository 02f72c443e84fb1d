import type { Check } from '../check.ts';

/** The whole file decoded once, every stream, first to last: no line of error, and as many pictures as planned. An exit code alone proves nothing. */
export const decode: Check = {
  name: 'decode',
  rests: ['decode'],
  run: ({ measured: { decode: decoded }, outcome }) => {
    if (decoded === null) return null;
    const whole = decoded.ended === 'exited' && decoded.exitCode === 0 && decoded.errorCount === 0 && decoded.frames === outcome.frames;
    const end = decoded.ended === 'exited' ? `exit code ${decoded.exitCode}` : decoded.ended;
    const measured = `${decoded.frames} pictures, ${decoded.errorCount} errors, ${end}${decoded.errors[0] === undefined ? '' : `; first: ${decoded.errors[0]}`}`;
    const expected = `${outcome.frames} pictures, 0 errors, exit code 0`;
    return { measured, expected, faults: whole ? [] : [{ code: 'does-not-decode', found: measured, expected }] };
  },
};
