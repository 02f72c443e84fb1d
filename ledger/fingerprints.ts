/** The fingerprints that a deliverable was proved by, read back from beside the reports. */
import { codeOf } from '../files/error-code.ts';
import { readFile } from 'node:fs/promises';
import { type Finding, type FindingSubject, finding } from '../findings/finding.ts';
import { fsPath } from '../files/names.ts';
import { readSamples } from '../proof/pixel-sample-file.ts';
import type { PixelSamples } from '../proof/pixel-samples.ts';
import { readSketch } from '../proof/sketch/file.ts';
import type { ErrorSketch } from '../proof/sketch/form.ts';
import { readFingerprints, type SourceFingerprints, FingerprintError } from '../proof/source-fingerprints.ts';
import { placeBelow } from './layout.ts';
import type { DeliverableReport } from './report.ts';

export type StoredFingerprints =
  | { readonly fingerprints: SourceFingerprints; readonly finding: null }
  | { readonly fingerprints: null; readonly finding: Finding };
export type StoredSamples =
  | { readonly points: PixelSamples; readonly finding: null }
  | { readonly points: null; readonly finding: Finding };

/** Only the very fingerprints that the report names count. */
export async function storedFingerprints(
  report: DeliverableReport,
  rollFolder: string,
  subject: FindingSubject,
): Promise<StoredFingerprints> {
  const read = await stored(sourceOf(report), rollFolder, subject, readFingerprints);
  return read.finding === null
    ? { fingerprints: read.fingerprints, finding: null }
    : { fingerprints: null, finding: read.finding };
}

/** The sketch of what the encoder was given; without a finding where the deliverable loses nothing. */
export async function storedSketch(
  report: DeliverableReport,
  rollFolder: string,
  subject: FindingSubject,
): Promise<{ readonly sketch: ErrorSketch | null; readonly finding: Finding | null }> {
  if (!('pictureError' in report.outcome) || report.outcome.pictureError === null)
    return { sketch: null, finding: null };
  const read = await stored(
    { named: report.errorSketch, what: 'error sketch' },
    rollFolder,
    subject,
    readSketch,
  );
  return read.finding === null
    ? { sketch: read.fingerprints, finding: null }
    : { sketch: null, finding: read.finding };
}

/** Of a master. */
export async function storedSamples(
  report: DeliverableReport,
  rollFolder: string,
  subject: FindingSubject,
): Promise<StoredSamples> {
  const read = await stored(sourceOf(report), rollFolder, subject, readSamples);
  return read.finding === null
    ? { points: read.fingerprints, finding: null }
    : { points: null, finding: read.finding };
}

interface Named {
  readonly named: DeliverableReport['fingerprints'];
  /** In words. */
  readonly what: string;
}
const sourceOf = ({ fingerprints }: DeliverableReport): Named => ({
  named: fingerprints,
  what: 'fingerprints',
});

async function stored<Fingerprints>(
  { named, what }: Named,
  rollFolder: string,
  subject: FindingSubject,
  read: (bytes: Buffer) => Promise<{ readonly fingerprints: Fingerprints; readonly digest: string }>,
): Promise<{ readonly fingerprints: Fingerprints; readonly finding: null } | { readonly finding: Finding }> {
  const none = (...words: Parameters<typeof finding>): { finding: Finding } => ({
    finding: finding(...words),
  });
  if (named === undefined)
    return none(
      'fingerprints-absent',
      `the report names no ${what}`,
      what === 'fingerprints' ? 'the fingerprints of the source' : 'the sketch of what the encoder was given',
      subject,
    );
  const about = { ...subject, file: named.path };
  const path = placeBelow(rollFolder, named.path);
  let bytes: Buffer;
  try {
    if (path === null) throw new RangeError('it lies outside of the roll');
    bytes = await readFile(fsPath(path));
  } catch (error) {
    return none(
      'fingerprints-absent',
      codeOf(error) || (error as Error).message,
      'a file that can be read',
      about,
    );
  }
  try {
    const { fingerprints, digest } = await read(bytes);
    return digest === named.sha256
      ? { fingerprints, finding: null }
      : none('fingerprints-damaged', `SHA-256 of its content ${digest}`, named.sha256, about);
  } catch (error) {
    if (!(error instanceof FingerprintError)) throw error;
    return none(
      'fingerprints-damaged',
      error.message,
      what === 'fingerprints' ? 'whole fingerprints' : 'a whole error sketch',
      about,
    );
  }
}
