/** MaxCLL and MaxFALL of a deliverable in PQ: measured on what its encoder is given, and written into the file when all of it is there. */
import { type FileHandle, open } from 'node:fs/promises';
import type { Outcome } from '../profiles/outcome.ts';
import { type ContentLight, PLACEHOLDER } from '../proof/light/form.ts';
import { LightMeter, type LightSeen } from '../proof/light/meter.ts';

/** By output; null: its stream says nothing of its light. */
export const lightMeters = (outcomes: readonly Outcome[]): (LightMeter | null)[] =>
  outcomes.map((outcome) => (outcome.contentLight === null ? null : new LightMeter(outcome)));

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

/** After the encoder has ended. Gives what the stream now says; null: it says nothing of its light, or what was measured is not of every frame, and nothing was written. */
export async function finishContentLight(
  path: string,
  outcome: Outcome,
  seen: LightSeen | null,
): Promise<ContentLight | null> {
  if (outcome.contentLight === null || seen?.light === undefined || seen.light === null) return null;
  if (seen.frames !== outcome.frames) return null;
  await writeContentLight(path, seen.light);
  return seen.light;
}
