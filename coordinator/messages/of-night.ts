/** Tells of rolls that will be late while their night runs, by its forecast. */
import type { NightForecast } from '../progress/forecast.ts';

const LOOK_MILLISECONDS = 10_000;

/** `tell`: of a roll that the forecast sees ready after its hour in nine nights of ten, or whose hour has passed. */
export function watchLateness(
  forecast: () => NightForecast | null,
  tell: (roll: string, why: string) => void,
): { end(): void } {
  const look = (): void => {
    for (const { roll, due, inTime, left } of forecast()?.rolls ?? []) {
      if (due === null) continue;
      if (Date.now() >= Date.parse(due)) tell(roll, `past ${due}: it is being made`);
      else if (inTime === 'late' && left !== null)
        tell(roll, `due at ${due}, and not ready for another ${Math.ceil(left.least / 60)} minutes at least`);
    }
  };
  const timer = setInterval(look, LOOK_MILLISECONDS);
  timer.unref();
  return { end: () => clearInterval(timer) };
}
