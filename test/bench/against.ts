/** Two ways of the same work, one after the other in turn. */
import { median } from './median.ts';

/** What is timed; what it returns is done behind the clock: to look at what was made, and to take it away. */
export type Timed = () => Promise<() => Promise<void>>;

async function secondsOf(act: Timed): Promise<number> {
  const started = performance.now();
  const after = await act();
  const seconds = (performance.now() - started) / 1000;
  await after();
  return seconds;
}

/** Median seconds of alternating repetitions, after one of each that is not counted: it fills the page cache. `isWarm`: something else has. */
export async function alternating(
  repetitions: number,
  ours: Timed,
  theirs: Timed,
  isWarm = false,
): Promise<{ readonly ours: number; readonly theirs: number }> {
  const seconds: { ours: number[]; theirs: number[] } = { ours: [], theirs: [] };
  for (let turn = isWarm ? 1 : 0; turn <= repetitions; turn += 1) {
    const pair = { theirs: await secondsOf(theirs), ours: await secondsOf(ours) };
    if (turn === 0) continue;
    seconds.ours.push(pair.ours);
    seconds.theirs.push(pair.theirs);
  }
  return { ours: median(seconds.ours), theirs: median(seconds.theirs) };
}
