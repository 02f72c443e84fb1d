/** Interrupts of one night among many: what listens to them goes with the night. */
import type { Interrupts } from '../night/request.ts';

export interface OwnInterrupts extends Interrupts {
  end(): void;
}

export function ownInterrupts(of: Interrupts): OwnInterrupts {
  const first = new AbortController();
  const second = new AbortController();
  const pairs = [
    [of.first, first],
    [of.second, second],
  ] as const;
  const ends = pairs.map(([from, to]) => {
    const pass = (): void => to.abort(from.reason);
    if (from.aborted) pass();
    else from.addEventListener('abort', pass, { once: true });
    return () => from.removeEventListener('abort', pass);
  });
  return {
    first: first.signal,
    second: second.signal,
    end: () => {
      for (const end of ends) end();
    },
  };
}
