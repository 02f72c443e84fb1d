/**
 * Places in records, as every machine understands them: `volume:<name>/<path>` where this machine has volumes (volumes.ts). What lies in none of
 * them stays as it is: this machine alone reads it. Only what people read of places is changed, never what was measured of a clip. Pure.
 */
import { sep } from 'node:path';
import type { Finding } from '../findings/finding.ts';
import { printable } from '../files/names.ts';
import type { CopyResult, IntakeResult } from './roll.ts';
import { fromVolume, isVolumePath, type Mount, toVolume } from './volumes.ts';

/** null: this machine has no volumes. */
export type Mounts = readonly Mount[] | null;

export const placeName = (path: string, mounts: Mounts): string =>
  mounts === null ? path : (toVolume(mounts, path) ?? path);

/** Where it is on this machine; null: in a volume that this machine does not have. */
export function placeHere(name: string, mounts: Mounts): string | null {
  if (!isVolumePath(name)) return name;
  const here = fromVolume(mounts ?? [], name);
  return typeof here === 'string' ? here : null;
}

/** Such a text may be right behind a quote, an option's name or `file:`; not behind a name, which it would be the end of. */
const BEFORE = String.raw`(?<![\p{L}\p{N}._/-])`;
const BEHIND = String.raw`(?=/|$|[^\p{L}\p{N}._-])/?`;

const escaped = (text: string): string => text.replace(/[\\^$.*+?()[\]{}|/]/g, '\\$&');

/** A text that may speak of places, in words or on a command line. */
export function textWithPlaces(text: string, mounts: Mounts): string {
  if (mounts === null || text === '') return text;
  const places = mounts
    // Every path begins there: what is meant cannot be told in a text.
    .filter(({ at }) => at !== sep)
    .flatMap(({ name, at }) => [...new Set([at, printable(at)])].map((written) => ({ name, written })))
    .filter(({ written }) => text.includes(written))
    // Of a mount point below another one the nearer counts.
    .sort((a, b) => b.written.length - a.written.length);
  if (places.length === 0) return text;
  const names = new Map(places.map(({ name, written }) => [written, name]));
  const any = places.map(({ written }) => escaped(written)).join('|');
  return text.replace(
    new RegExp(`${BEFORE}(${any})${BEHIND}`, 'gu'),
    (_, written: string) => `volume:${names.get(written)}/`,
  );
}

export function findingsWithPlaces<Found extends Finding>(
  findings: readonly Found[],
  mounts: Mounts,
): Found[] {
  if (mounts === null) return [...findings];
  return findings.map((item) => ({
    ...item,
    ...(item.copy === undefined ? {} : { copy: placeName(item.copy, mounts) }),
    ...(item.file === undefined ? {} : { file: placeName(item.file, mounts) }),
    found: textWithPlaces(item.found, mounts),
    expected: textWithPlaces(item.expected, mounts),
  }));
}

/** What a worker writes of its work. */
export function reportWithPlaces<
  Report extends { readonly findings: Finding[]; readonly command?: string[] },
>(report: Report, mounts: Mounts): Report {
  if (mounts === null) return report;
  const { command, findings } = report;
  return {
    ...report,
    findings: findingsWithPlaces(findings, mounts),
    ...(command === undefined ? {} : { command: command.map((word) => textWithPlaces(word, mounts)) }),
  };
}

export const copyWithPlaces = (copy: CopyResult, mounts: Mounts): CopyResult => ({
  ...copy,
  folder: placeName(copy.folder, mounts),
  ...(copy.oneWith === undefined ? {} : { oneWith: placeName(copy.oneWith, mounts) }),
});

/** What is kept of it in the roll's record. */
export function intakeWithPlaces<
  Intake extends Pick<IntakeResult, 'manifests' | 'copies' | 'findings'> & { readonly folder?: string },
>(intake: Intake, mounts: Mounts): Intake {
  if (mounts === null) return intake;
  return {
    ...intake,
    ...(intake.folder === undefined ? {} : { folder: placeName(intake.folder, mounts) }),
    manifests: intake.manifests.map(({ file, digests, ...rest }) => ({
      ...rest,
      file: placeName(file, mounts),
      ...(digests === undefined
        ? {}
        : { digests: digests.map((one) => ({ ...one, file: placeName(one.file, mounts) })) }),
    })),
    copies: intake.copies.map((copy) => copyWithPlaces(copy, mounts)),
    findings: findingsWithPlaces(intake.findings, mounts),
  };
}
