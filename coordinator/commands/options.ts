/** Values of the command line, checked: what they cannot be is usage. */
import { resolve } from 'node:path';
import { InvalidArgumentError } from 'commander';
import type { SegmentsAsked } from '../dispatch/segments.ts';
import { parseRate, type Rate } from '../../media/time/rate.ts';
import { parseServeAddress, type ServeAddress } from '../../serve/address.ts';

export function wholeNumber(least: number, most: number): (text: string) => number {
  return (text) => {
    const value = /^\d{1,9}$/.test(text) ? Number(text) : Number.NaN;
    if (!(value >= least && value <= most))
      throw new InvalidArgumentError(`It must be a whole number from ${least} to ${most}.`);
    return value;
  };
}

/** Into how many segments long clips are cut. */
export function segmentsOption(text: string): SegmentsAsked {
  if (text === 'auto' || text === 'never') return text;
  const value = /^\d{1,4}$/.test(text) ? Number(text) : Number.NaN;
  if (!(value >= 2))
    throw new InvalidArgumentError('It must be auto, never, or a whole number from 2 to 9999.');
  return value;
}

/** As every rate is read (media/time/rate.ts), so that the command line takes what remedies and settings take. */
export function rateOption(text: string): Rate {
  try {
    return parseRate(text);
  } catch (error) {
    if (error instanceof RangeError) throw new InvalidArgumentError(`It must be a rate: ${error.message}.`);
    throw error;
  }
}

export function serveAddress(text: string): ServeAddress {
  const address = parseServeAddress(text);
  if (address === null)
    throw new InvalidArgumentError(
      'It must be an address and a port, as 127.0.0.1:4650 or 0.0.0.0:4650; where a folder follows, write --page=<address>:<port>, or --page behind it.',
    );
  return address;
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
