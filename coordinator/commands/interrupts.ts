/** Ctrl-C once: end what runs, then stop. Twice: stop now. SIGTERM and a closed terminal count the same. */
import type { Interrupts } from '../night/request.ts';

export interface Listening extends Interrupts {
  /** Signals mean what they mean by default again. */
  end(): void;
}

export function listenForInterrupts(): Listening {
  const first = new AbortController();
  const second = new AbortController();
  const onSignal = (): void => {
    if (first.signal.aborted) second.abort(new Error('interrupted twice'));
    else first.abort(new Error('interrupted'));
  };
  const signals = ['SIGINT', 'SIGTERM', 'SIGHUP'] as const;
  for (const signal of signals) process.on(signal, onSignal);
  return {
    first: first.signal,
    second: second.signal,
    end: () => {
      for (const signal of signals) process.off(signal, onSignal);
    },
  };
}
