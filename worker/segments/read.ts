/** Segments as the job that joins them finds them: every byte of them is read, and one that is not as it was written down is taken away, so that it is made again. */
import { readFile, rm } from 'node:fs/promises';
import { join } from 'node:path';
import type { SeenPictures } from '../../check/pictures.ts';
import { digestOfFile } from '../../files/digest.ts';
import { fsPath } from '../../files/names.ts';
import { layout } from '../../ledger/layout.ts';
import { findSegment, type SegmentPlace, type SegmentRecord } from '../../ledger/segments.ts';
import { readSketch } from '../../proof/sketch/file.ts';
import type { ErrorSketch } from '../../proof/sketch/form.ts';
import { readFingerprints, type SourceFingerprints } from '../../proof/source-fingerprints.ts';
import { type CutJob, segmentsOfJob, workOfSegments } from './cut.ts';
import { SegmentsIncomplete } from './incomplete.ts';

export interface ReadSegment {
  readonly folder: string;
  readonly record: SegmentRecord;
  readonly fingerprints: SourceFingerprints;
  /** In the order of the job's deliverables. */
  readonly movies: readonly {
    readonly path: string;
    readonly sketch: ErrorSketch | null;
    /** By the checker, where it was made. */
    readonly seen: SeenPictures;
  }[];
}

/** In order. Throws SegmentsIncomplete, and the signal's reason. */
export async function readSegments(job: CutJob, signal: AbortSignal): Promise<ReadSegment[]> {
  const read: ReadSegment[] = [];
  const missing: string[] = [];
  for (const [index, { start, frames }] of segmentsOfJob(job).entries()) {
    const one = await readSegment(job, { index, span: { start, count: frames } }, signal);
    if (typeof one === 'string') missing.push(one);
    else read.push(one);
  }
  if (missing.length > 0) throw new SegmentsIncomplete(missing.join('; '));
  return read;
}

/** A text says what is wrong; then it is taken away. */
async function readSegment(
  job: CutJob,
  { index, span }: { readonly index: number; readonly span: SegmentPlace['span'] },
  signal: AbortSignal,
): Promise<ReadSegment | string> {
  const place = { rollFolder: job.deliveryFolder, clip: job.clip.id, span };
  const found = await findSegment(place, workOfSegments(job), index);
  if (typeof found === 'string') return found;
  try {
    return await readWhole(job, found, signal);
  } catch (error) {
    signal.throwIfAborted();
    // Only what lies below our own folder of segments has such a name.
    if (!found.folder.startsWith(`${layout.segmentsFolder(job.deliveryFolder)}/`)) throw error;
    await rm(fsPath(found.folder), { recursive: true, force: true });
    return `segment ${index}: ${(error as Error).message}`;
  }
}

async function readWhole(
  job: CutJob,
  { folder, record }: { readonly folder: string; readonly record: SegmentRecord },
  signal: AbortSignal,
): Promise<ReadSegment> {
  for (const [name, { sha256 }] of Object.entries(record.files)) {
    const found = await digestOfFile(join(folder, name), signal);
    if (found.sha256 !== sha256) throw new Error(`${name} is not as it was made`);
  }
  const named = (name: string): string => {
    if (record.files[name] === undefined) throw new Error(`its record does not name ${name}`);
    return join(folder, name);
  };
  const movies: { path: string; sketch: ErrorSketch | null; seen: SeenPictures }[] = [];
  const sketchIn = async (name: string | null): Promise<ErrorSketch | null> =>
    name === null ? null : (await readSketch(await readFile(fsPath(named(name))))).fingerprints;
  for (const { profile } of job.deliverables) {
    const own = record.deliverables.find((one) => one.profile === profile.name);
    if (own === undefined) throw new Error(`it has nothing of ${profile.name}`);
    movies.push({
      path: named(own.movie),
      sketch: await sketchIn(own.sketch),
      seen: {
        decode: own.seen.decode,
        ...(await picturesIn(named(own.seen.pictures))),
        sketch: (await sketchIn(own.seen.sketch))?.values ?? null,
        quantisers: own.seen.quantisers,
        text: own.seen.text,
        packets: { streams: [{ kind: 'v', packets: Buffer.from(own.packets, 'hex') }] },
      },
    });
  }
  const { fingerprints } = await readFingerprints(await readFile(fsPath(named(record.fingerprints))));
  return { folder, record, fingerprints, movies };
}

async function picturesIn(path: string): Promise<Pick<SeenPictures, 'picture' | 'exact'>> {
  const { picture, exact } = (await readFingerprints(await readFile(fsPath(path)))).fingerprints;
  return { picture, exact: exact?.pictures ?? Buffer.alloc(0) };
}
