/** MaxCLL and MaxFALL of a deliverable in PQ: measured on what its encoder is given, and written into the file when all of it is there. */
import { type FileHandle, open } from 'node:fs/promises';
import { type LightRead, LightReader } from '../check/light/reader.ts';
import { lightLevelsReport } from '../check/light-levels.ts';
import type { WhileMadeReport } from '../check/while-made.ts';
import type { Job, MovieWork } from '../ledger/job.ts';
import type { Outcome } from '../profiles/outcome.ts';
import { type ContentLight, PLACEHOLDER } from '../proof/light/form.ts';
import { LightMeter, type LightSeen } from '../proof/light/meter.ts';
import { subjectOf } from './claim.ts';

/** What measures the light of an output, and the checker's own reader of the same pictures: they share the bytes of the pipe and nothing else. */
export interface LightReaders {
  readonly meter: LightMeter;
  readonly again: LightReader;
}

/** By output; null: its stream says nothing of its light. */
export const lightReaders = (outcomes: readonly Outcome[]): (LightReaders | null)[] =>
  outcomes.map((outcome) =>
    outcome.contentLight === null
      ? null
      : { meter: new LightMeter(outcome), again: new LightReader(outcome) },
  );

/** Raw pictures, each byte to both. */
export function readTwice(stream: AsyncIterable<unknown>, { meter, again }: LightReaders): Promise<void> {
  async function* passing(): AsyncGenerator<unknown> {
    for await (const chunk of stream) {
      again.take(chunk as Buffer);
      yield chunk;
    }
  }
  return meter.read(passing());
}

/** What was measured and read of an output's light. */
export interface LightMeasured {
  readonly seen: LightSeen;
  readonly again: LightRead;
}

/** Both numbers as they lie in a message (ITU-T H.265, D.2.35). */
function payload({ greatest, average }: ContentLight): Buffer {
  const bytes = Buffer.alloc(4);
  bytes.writeUInt16BE(greatest, 0);
  bytes.writeUInt16BE(average, 2);
  return bytes;
}

/**
 * The end of the length, and a unit with one message and the placeholder in it: the same behind the four bytes of a length in a sample and the two in the header.
 * Of 88 bits, so that nothing that was encoded is like it; what was encoded is held against its hash afterwards, and every message is read.
 */
const HEAD = Buffer.from([0x00, 0x09, 0x4e, 0x01, 0x90, 0x04]);
const SOUGHT = Buffer.concat([HEAD, payload(PLACEHOLDER), Buffer.from([0x80])]);
const CHUNK = 4 * 1024 * 1024;

/** Puts the numbers in place of every placeholder; all other bytes stay. Gives how many there were. Throws the file system's error. */
export async function writeContentLight(path: string, light: ContentLight): Promise<number> {
  const handle = await open(path, 'r+');
  try {
    let count = 0;
    for await (const at of places(handle)) {
      await handle.write(payload(light), 0, 4, at + HEAD.length);
      count += 1;
    }
    await handle.sync();
    return count;
  } finally {
    await handle.close();
  }
}

async function* places(handle: FileHandle): AsyncGenerator<number> {
  const buffer = Buffer.allocUnsafe(CHUNK + SOUGHT.length - 1);
  for (let from = 0; ; from += CHUNK) {
    let have = 0;
    while (have < buffer.length) {
      const { bytesRead } = await handle.read(buffer, have, buffer.length - have, from + have);
      if (bytesRead === 0) break;
      have += bytesRead;
    }
    const part = buffer.subarray(0, have);
    for (let at = part.indexOf(SOUGHT); at >= 0; at = part.indexOf(SOUGHT, at + 1)) yield from + at;
    if (have < buffer.length) return;
  }
}

/** After the encoder has ended: what the stream now says, and the check of it. `contentLight` null: it says nothing of its light, or what was measured is not of every frame, and nothing was written. */
export interface LightStated {
  readonly contentLight: ContentLight | null;
  /** Absent: its stream says nothing of its light. */
  readonly lightLevels?: WhileMadeReport;
}

export async function finishContentLight(
  job: Job,
  { deliverable, staged }: { readonly deliverable: MovieWork; readonly staged: string },
  measured: LightMeasured | null,
): Promise<LightStated> {
  const { outcome, profile } = deliverable;
  if (outcome.contentLight === null) return { contentLight: null };
  const contentLight = await written(staged, outcome, measured?.seen ?? null);
  return {
    contentLight,
    lightLevels: lightLevelsReport(
      { seen: measured?.again ?? null, said: contentLight, frames: outcome.frames },
      { ...subjectOf(job), profile: profile.name },
    ),
  };
}

async function written(
  path: string,
  { frames }: Outcome,
  seen: LightSeen | null,
): Promise<ContentLight | null> {
  if (seen === null || seen.light === null || seen.frames !== frames) return null;
  await writeContentLight(path, seen.light);
  return seen.light;
}
