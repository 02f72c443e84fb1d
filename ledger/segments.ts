/**
 * A finished segment of a long clip, until it is joined: a folder <roll>/reports/.rushlight-jobs/segments/<clip>.<key>.<index>, named by what it was made from and
 * with, which gets that name only when it is whole. In it a movie of each deliverable, the error sketch of what its encoder was given, what the checker saw of it, the
 * fingerprints of the source's frames, and the record of all of it, which names each file by its SHA-256. It is taken away when its clip is joined, or the roll is over; what an
 * interrupted run leaves the next one finds again.
 */
import { createHash } from 'node:crypto';
import { readdir, readFile, rm, stat } from 'node:fs/promises';
import { basename, join } from 'node:path';
import { z } from 'zod';
import { codeOf } from '../files/error-code.ts';
import { fsPath } from '../files/names.ts';
import { encoderInputVerdictSchema } from '../proof/encoder-input/joined.ts';
import { fileTextVerdictSchema, textVerdictSchema } from '../proof/text/joined.ts';
import { layout, STAGING_PREFIX } from './layout.ts';

const sha256Schema = z.string().regex(/^[0-9a-f]{64}$/);
/** Hashes of packets, 16 bytes each, one behind the other. */
const packetsSchema = z.string().regex(/^(?:[0-9a-f]{32})*$/);

/** Frames that were seen on either side of the segment, which its neighbours have. */
export const aroundSchema = z.object({ before: z.int().min(0).max(1), behind: z.int().min(0).max(1) });
export type Around = z.infer<typeof aroundSchema>;

export const segmentRecordSchema = z.object({
  version: z.literal(0),
  key: sha256Schema,
  index: z.int().nonnegative(),
  of: z.int().min(2),
  /** Of the clip. */
  start: z.int().nonnegative(),
  frames: z.int().positive(),
  around: aroundSchema,
  /** By name in the folder. */
  files: z.record(z.string(), z.object({ bytes: z.int().nonnegative(), sha256: sha256Schema })),
  /** Picture packets that its decoder was given, from where the file was entered on. */
  taken: packetsSchema,
  deliverables: z.array(
    z.object({
      profile: z.string(),
      movie: z.string(),
      sketch: z.string().nullable(),
      /** As they left the encoder. */
      packets: packetsSchema,
      encoderInput: encoderInputVerdictSchema.nullable(),
      /** Burnt-in text in what its encoder was given. */
      text: textVerdictSchema.nullable(),
      /** Of each bar around its picture, the hash of each frame of it, hex. */
      bars: z.array(z.array(z.string())),
      command: z.array(z.string()),
      /** What the checker saw of its movie: two files more, and what is said of the decode. */
      seen: z.object({
        pictures: z.string(),
        sketch: z.string().nullable(),
        decode: z.object({
          frames: z.int(),
          errors: z.array(z.string()),
          errorCount: z.int(),
          exitCode: z.int().nullable(),
          ended: z.string(),
        }),
        quantisers: z.object({ mean: z.array(z.number()), greatest: z.array(z.number()) }).nullable(),
        text: fileTextVerdictSchema.nullable(),
      }),
    }),
  ),
  fingerprints: z.string(),
  /** Seconds that making and checking it took. */
  seconds: z.object({ make: z.number().nonnegative(), check: z.number().nonnegative() }),
  machine: z.string(),
  toolchain: z.string(),
});
export type SegmentRecord = z.infer<typeof segmentRecordSchema>;

/** What segments are made from and with. */
export interface SegmentsOf {
  readonly contentDigest: string;
  readonly toolchain: string;
  readonly segments: number;
  readonly deliverables: readonly {
    readonly profile: string;
    readonly profileHash: string;
    readonly decision: string;
  }[];
}

/** Equal for equal work. */
export function segmentsKey({ contentDigest, toolchain, segments, deliverables }: SegmentsOf): string {
  const made = deliverables.map(({ profile, profileHash, decision }) => [profile, profileHash, decision]);
  return createHash('sha256')
    .update(JSON.stringify([contentDigest, toolchain, segments, made]))
    .digest('hex');
}

export const segmentFolder = (rollFolder: string, clip: string, key: string, index: number): string =>
  join(layout.segmentsFolder(rollFolder), `${clip}.${key.slice(0, 16)}.${index}`);

const RECORD = 'segment.json';
/** The line behind the record: a digest of its bytes. */
const END = /\n([0-9a-f]{64})\n$/;

export const recordPath = (folder: string): string => join(folder, RECORD);

export function segmentRecordBytes(record: SegmentRecord): Buffer {
  const text = JSON.stringify(segmentRecordSchema.parse(record));
  return Buffer.from(`${text}\n${createHash('sha256').update(text).digest('hex')}\n`);
}

/** A text says why it is none. Pure. */
export function readSegmentRecord(bytes: Buffer): SegmentRecord | string {
  const text = bytes.toString('utf8');
  const end = END.exec(text);
  if (end === null) return 'its record has no end';
  const body = text.slice(0, end.index);
  if (createHash('sha256').update(body).digest('hex') !== end[1])
    return 'its record is not as it was written';
  const parsed = segmentRecordSchema.safeParse(JSON.parse(body));
  return parsed.success ? parsed.data : `its record: ${parsed.error.issues[0]?.path.join('.')}`;
}

/** Into how many segments a clip is cut, and which of them a job makes; null: it joins them. */
export interface CutWork {
  readonly segments: number;
  readonly segment: number | null;
}

export interface SegmentPlace {
  readonly rollFolder: string;
  readonly clip: string;
  /** Of its frames in the clip. */
  readonly span: { readonly start: number; readonly count: number };
}

/** The record of a segment that lies there with all of its files; a text says why it does not. Their bytes are not read. */
export async function findSegment(
  { rollFolder, clip, span }: SegmentPlace,
  work: SegmentsOf,
  index: number,
): Promise<{ readonly folder: string; readonly record: SegmentRecord } | string> {
  const key = segmentsKey(work);
  const folder = segmentFolder(rollFolder, clip, key, index);
  let bytes: Buffer;
  try {
    bytes = await readFile(fsPath(recordPath(folder)));
  } catch (error) {
    return `segment ${index} cannot be read: ${(error as NodeJS.ErrnoException).code ?? String(error)}`;
  }
  const record = readSegmentRecord(bytes);
  if (typeof record === 'string') return `segment ${index}: ${record}`;
  if (
    record.key !== key ||
    record.index !== index ||
    record.of !== work.segments ||
    record.start !== span.start ||
    record.frames !== span.count
  )
    return `segment ${index}: its record is of frames ${record.start} to ${record.start + record.frames - 1}, segment ${record.index} of ${record.of}`;
  for (const [name, file] of Object.entries(record.files)) {
    const found = await stat(fsPath(join(folder, name))).catch(() => null);
    if (found?.size !== file.bytes)
      return `segment ${index}: ${name} has ${found === null ? 'no bytes' : `${found.size} bytes`} instead of ${file.bytes}`;
  }
  return { folder, record };
}

/** A whole segment that lies there, by its record and the sizes of its files. */
export interface LyingSegment {
  /** Of its folder. */
  readonly name: string;
  readonly key: string;
  readonly index: number;
  readonly of: number;
  readonly frames: number;
  readonly bytes: number;
}

async function namesIn(folder: string): Promise<string[]> {
  try {
    return await readdir(fsPath(folder));
  } catch (error) {
    if (codeOf(error) === 'ENOENT') return [];
    throw error;
  }
}

/** Of a roll, those that an earlier run left whole. Their bytes are not read: whoever joins them does. Throws what node:fs throws. */
export async function segmentsLying(rollFolder: string): Promise<LyingSegment[]> {
  const folder = layout.segmentsFolder(rollFolder);
  const lying: LyingSegment[] = [];
  for (const name of await namesIn(folder)) {
    if (name.startsWith(STAGING_PREFIX)) continue;
    const bytes = await readFile(fsPath(recordPath(join(folder, name)))).catch(() => null);
    const record = bytes === null ? 'no record' : readSegmentRecord(bytes);
    if (typeof record === 'string') continue;
    const { key, index, of, frames, files } = record;
    const found = await Promise.all(
      Object.entries(files).map(async ([file, { bytes: size }]) => {
        const there = await stat(fsPath(join(folder, name, file))).catch(() => null);
        return there?.size === size;
      }),
    );
    if (!found.every((isThere) => isThere)) continue;
    const size = Object.values(files).reduce((sum, one) => sum + one.bytes, 0);
    lying.push({ name, key, index, of, frames, bytes: size });
  }
  return lying;
}

/** Of one way to cut a clip: into how many segments, and what of them lies there. */
export interface LyingCut {
  readonly segments: number;
  readonly names: readonly string[];
  readonly bytes: number;
}

/** What of a clip lies there, of the cut of which the most frames do; null: nothing. Pure. */
export function lyingCut(
  lying: readonly LyingSegment[],
  clip: string,
  work: Omit<SegmentsOf, 'segments'>,
): LyingCut | null {
  let most: (LyingCut & { readonly frames: number }) | null = null;
  for (const segments of new Set(lying.map(({ of }) => of))) {
    const key = segmentsKey({ ...work, segments });
    const own = lying.filter(
      (one) => one.key === key && one.name === basename(segmentFolder('', clip, key, one.index)),
    );
    const frames = own.reduce((sum, one) => sum + one.frames, 0);
    if (own.length > 0 && frames > (most?.frames ?? 0))
      most = {
        segments,
        names: own.map(({ name }) => name),
        bytes: own.reduce((sum, one) => sum + one.bytes, 0),
        frames,
      };
  }
  if (most === null) return null;
  const { frames: _, ...cut } = most;
  return cut;
}

/** Takes away the segments of a roll but for those that are named; what is being made stays, its maker may live. Throws what node:fs throws. */
export async function sweepSegments(rollFolder: string, kept: ReadonlySet<string>): Promise<void> {
  const folder = layout.segmentsFolder(rollFolder);
  for (const name of await namesIn(folder))
    if (!kept.has(name) && !name.startsWith(STAGING_PREFIX))
      await rm(fsPath(join(folder, name)), { recursive: true, force: true });
}

/** Takes away those of a clip that is joined: it needs their room no more. */
export async function removeSegments(rollFolder: string, clip: string, work: SegmentsOf): Promise<void> {
  const key = segmentsKey(work);
  for (let index = 0; index < work.segments; index += 1)
    await rm(fsPath(segmentFolder(rollFolder, clip, key, index)), { recursive: true, force: true });
}
