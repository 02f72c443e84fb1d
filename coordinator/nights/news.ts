/** What a standing coordinator tells: heard by messages, metrics and the log. */
import type { Finding } from '../../findings/finding.ts';
import type { NightForecast } from '../progress/forecast.ts';
import type { NightResult, RollResult } from '../night/request.ts';
import type { RunProgress } from '../progress/run-progress.ts';

export interface OfDay {
  readonly show: string;
  readonly day: string;
  readonly delivery: string;
}

export interface News {
  began(of: OfDay, runProgress: RunProgress, forecast: () => NightForecast | null): void;
  decided(of: OfDay, result: RollResult): void;
  ended(of: OfDay, result: NightResult): void;
  /** A night that could not begin, or broke. */
  refused(of: OfDay, findings: readonly Finding[]): void;
  /** It is past its hour, or the forecast says that it will be. */
  late(of: OfDay, roll: string, why: string): void;
  noted(of: OfDay, item: Finding): void;
}

/** Each hears all of it. */
export function newsToAll(heard: readonly News[]): News {
  const each = (tell: (one: News) => void): void => {
    for (const one of heard) tell(one);
  };
  return {
    began: (...told) => each((one) => one.began(...told)),
    decided: (...told) => each((one) => one.decided(...told)),
    ended: (...told) => each((one) => one.ended(...told)),
    refused: (...told) => each((one) => one.refused(...told)),
    late: (...told) => each((one) => one.late(...told)),
    noted: (...told) => each((one) => one.noted(...told)),
  };
}
