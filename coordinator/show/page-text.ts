/** What `page` wrote, for people. Pure. */
import { printable } from '../../files/names.ts';
import type { Finding } from '../../findings/finding.ts';
import { count } from '../../findings/human.ts';
import { findingsText } from './words.ts';

export interface PagesText {
  readonly delivery: string;
  readonly days: readonly string[];
  readonly written: readonly string[];
  readonly findings: readonly Finding[];
}

export function pageText({ days, written, findings }: PagesText): string {
  const head =
    written.length === 0
      ? `Nothing to write: the pages of ${count(days.length, 'day')} say what the records say.`
      : ['Written:', ...written.map((path) => `  ${printable(path)}`)].join('\n');
  return `${head}\n${findings.length === 0 ? '' : `\n${findingsText(findings)}\n`}`;
}

/** Where a live page is to be opened. An address with a token is typed whole. */
export function pageAddressText(addresses: readonly string[]): string {
  const [first = '', ...others] = addresses;
  if (others.length === 0) return `Live page: ${first}`;
  return [
    'Live page, on a device that is in one of these networks:',
    ...addresses.map((one) => `  ${one}`),
  ].join('\n');
}
