/** One fact that differs from what it should be: a code, what was found, what was expected, about what. */
import { z } from 'zod';
import { STARTED_AS, withCommandsAsStarted } from './commands.ts';
import type { CodeEntry, Weight } from './entry.ts';
import { type FindingCode, registry } from './registry.ts';

/**
 * `code` is read as any text, so that a record written by a newer version can still be read;
 * an unknown code always holds (see `weightOf`).
 */
export const findingSchema = z.looseObject({
  code: z
    .string()
    .describe('What it is, by name: docs/findings.md. A code that you do not know blocks the roll'),
  roll: z.string().optional().describe('Name of the roll it is about; absent where it is about none'),
  copy: z.string().optional().describe('Folder of the copy of the roll; absent where it is about none'),
  clip: z.string().optional().describe('Id of the clip; absent where it is about none'),
  file: z
    .string()
    .optional()
    .describe('Path of the file or folder, whole or below the roll; absent where it is about none'),
  profile: z.string().optional().describe('Name of the profile; absent where it is about none'),
  found: z.string().describe('The measured value in words, with its unit'),
  expected: z.string().describe('What it should have been, in words, with its unit'),
  counted: z
    .object({
      code: z.string().describe('Their code'),
      more: z.int().positive().describe('How many there are, of the same roll and copy'),
    })
    .optional()
    .describe('Of `findings-more` alone: findings that are not written out'),
});
export type Finding = z.infer<typeof findingSchema>;

export type FindingSubject = Pick<Finding, 'roll' | 'copy' | 'clip' | 'file' | 'profile'>;

/** Makes a finding with a registered code. */
export function finding(
  code: FindingCode,
  found: string,
  expected: string,
  subject: FindingSubject = {},
): Finding {
  return { code, ...subject, found, expected };
}

function entryOf(code: string): CodeEntry | undefined {
  return Object.hasOwn(registry, code) ? registry[code as FindingCode] : undefined;
}

/** An unknown code was written by a newer version: it holds, since nobody here can say that it is harmless. */
function weightOf(item: Pick<Finding, 'code'>): Weight {
  return entryOf(item.code)?.weight ?? 'hold';
}

export function blocks(item: Pick<Finding, 'code'>): boolean {
  return weightOf(item) === 'hold';
}

/** Each once, in the order of their first appearance: two that say the same of the same are one. */
export function uniqueFindings(list: readonly Finding[]): Finding[] {
  const seen = new Map<string, Finding>();
  for (const item of list) {
    const { code, roll, copy, clip, file, profile, found, expected } = item;
    seen.set(JSON.stringify([code, roll, copy, clip, file, profile, found, expected]), item);
  }
  return [...seen.values()];
}

/** Carries findings through a throw; `exitCode` is what the command line ends with (2 usage, 3 machine). */
export class FindingError extends Error {
  readonly findings: readonly Finding[];
  readonly exitCode: 1 | 2 | 3;
  constructor(findings: readonly Finding[], exitCode: 1 | 2 | 3 = 1) {
    super(findings.map((item) => `${item.code}: ${item.found}`).join('; '));
    this.name = 'FindingError';
    this.findings = findings;
    this.exitCode = exitCode;
  }
}

/** The lines a person reads: what and where, found, expected, remedy. `startedAs`: what commands are typed as; '': as the registry has them, the same on every machine. */
export function describeFinding(
  item: Finding,
  startedAs = process.env[STARTED_AS],
): {
  title: string;
  about: string;
  found: string;
  expected: string;
  remedy: string;
} {
  const entry = entryOf(item.code);
  const about = [item.roll, item.copy, item.clip, item.file, item.profile]
    .filter((part) => part !== undefined)
    .join(' · ');
  return {
    title: entry?.title ?? `${item.code} (a code of a newer version)`,
    about,
    found: item.found,
    expected: item.expected,
    remedy: withCommandsAsStarted(
      entry?.remedy ?? 'Read this record with the version that wrote it, or a newer one.',
      startedAs,
    ),
  };
}
