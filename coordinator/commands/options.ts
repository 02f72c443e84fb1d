/** Values of the command line, checked: what they cannot be is usage. */
import { resolve } from 'node:path';
import { InvalidArgumentError } from 'commander';
import { type Rate, ratio } from '../../media/time/rate.ts';

export function wholeNumber(least: number, most: number): (text: string) => number {
  return (text) => {
    const value = /^\d{1,9}$/.test(text) ? Number(text) : Number.NaN;
    if (!(value >= least && value <= most))
      throw new InvalidArgumentError(`It must be a whole number from ${least} to ${most}.`);
    return value;
  };
}

/** `24`, `25`, `24000/1001`; the three decimal names that stand for a rate over 1001. */
export function rateOption(text: string): Rate {
  const named: Readonly<Record<string, Rate>> = {
    '23.976': ratio(24_000, 1001),
    '23.98': ratio(24_000, 1001),
    '29.97': ratio(30_000, 1001),
    '59.94': ratio(60_000, 1001),
  };
  const known = named[text];
  if (known !== undefined) return known;
  const match = /^(\d{1,6})(?:\/(\d{1,5}))?$/.exec(text);
  if (match !== null && Number(match[1]) > 0 && match[2] !== '0' && Number(match[2] ?? 1) > 0)
    return ratio(Number(match[1]), Number(match[2] ?? 1));
  throw new InvalidArgumentError('It must be a rate like 25, 24000/1001 or 23.976.');
}

/** For options that may be given as often as there are things to name. */
export function collect(text: string, before: readonly string[] | undefined): string[] {
  return [...(before ?? []), text];
}

export function folder(text: string): string {
  if (text === '') throw new InvalidArgumentError('It must be a path.');
  return resolve(text);
}

export function folders(text: string, before: readonly string[] | undefined): string[] {
  return collect(folder(text), before);
}
