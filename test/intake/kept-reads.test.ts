/** What was read is not read again, and every reason for which it is. Reads are counted by the bytes that intake says it reads, and by a kept checksum that is wrong on purpose. */
import {
  appendFileSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  renameSync,
  utimesSync,
  writeFileSync,
} from 'node:fs';
import { join } from 'node:path';
import { setTimeout } from 'node:timers/promises';
import { expect, test } from 'vitest';
import { type IntakeProgress, intakeRoll } from '../../coordinator/intake/index.ts';
import { type KeptReads, keptReads } from '../../coordinator/intake/kept-reads.ts';
import { noDayManifests } from '../../files/manifest/day.ts';
import { writeMd5Manifest } from '../support/day.ts';
import { freshFolder } from '../support/folder.ts';

const DAY = 86_400_000;

async function madeRoll() {
  const base = freshFolder('kept-reads');
  const roll = join(base, 'day-01', 'A001');
  mkdirSync(roll, { recursive: true });
  for (const name of ['A001C001.mov', 'A001C002.mov']) writeFileSync(join(roll, name), name.repeat(1_000));
  writeMd5Manifest(roll);
  // What was changed a moment before it is read is not kept.
  await setTimeout(2_100);
  return { roll, reads: join(base, 'reads') };
}

async function readBytes(roll: string, kept: KeptReads | undefined) {
  let last: IntakeProgress = { readBytes: 0, totalBytes: -1 };
  const result = await intakeRoll({
    ...{ day: 'day-01', roll: 'A001', folder: roll, copies: [], manifests: [], readers: 2, kept },
    dayManifests: noDayManifests,
    onProgress: (progress) => {
      last = progress;
    },
  });
  return {
    bytes: last.readBytes,
    total: last.totalBytes,
    verified: result.copies[0]?.verified,
    codes: result.findings.map(({ code }) => code),
    seen: result.copies[0]?.seen,
    files: result.files,
  };
}

const CLIP = 12_000;

test('a second reading reads nothing and finds the same, and says so; what was changed, set back in time, replaced, or is old is read again', async () => {
  const { roll, reads } = await madeRoll();
  const again = (): KeptReads => keptReads(reads, DAY);
  const first = await readBytes(roll, again());
  expect(first).toMatchObject({ verified: true, codes: [] });
  expect(first.bytes).toBeGreaterThan(2 * CLIP);
  const second = await readBytes(roll, again());
  expect(second).toMatchObject({ bytes: 0, total: 0, verified: true, codes: ['read-earlier'] });
  expect(second.seen).toBe(first.seen);
  expect(second.files).toEqual(first.files);
  // Plain runs have no such memory.
  expect((await readBytes(roll, undefined)).bytes).toBe(first.bytes);
  // One clip is written to at the same size, and its time of writing is put back.
  const clip = join(roll, 'A001C002.mov');
  const before = readFileSync(clip);
  const past = new Date(Date.now() - 3_600_000);
  writeFileSync(clip, Buffer.concat([Buffer.from('X'), before.subarray(1)]));
  utimesSync(clip, past, past);
  const altered = await readBytes(roll, again());
  expect(altered).toMatchObject({ bytes: CLIP, verified: false });
  expect(altered.codes).toContain('file-checksum-differs');
  // Another file takes its name.
  writeFileSync(join(roll, '..', 'other'), before);
  renameSync(join(roll, '..', 'other'), clip);
  expect(await readBytes(roll, again())).toMatchObject({ bytes: CLIP, verified: true });
  // All of it is old.
  const old = await readBytes(
    roll,
    keptReads(reads, DAY, () => Date.now() + DAY + 1),
  );
  expect(old.bytes).toBe(first.bytes);
  expect((await readBytes(roll, keptReads(reads, 0))).bytes).toBe(first.bytes);
}, 30_000);

test('it is the kept checksum that is held against the manifest; half a line and a strange one are no reads', async () => {
  const { roll, reads } = await madeRoll();
  const first = await readBytes(roll, keptReads(reads, DAY));
  const [name] = readdirSync(reads);
  const file = join(reads, name as string);
  const lines = readFileSync(file, 'utf8').trim().split('\n');
  expect(lines).toHaveLength(3);
  const wrong = lines.map((line) => line.replace(/"md5":"[0-9a-f]/, '"md5":"x'));
  writeFileSync(file, `${wrong.join('\n')}\n`);
  expect((await readBytes(roll, keptReads(reads, DAY))).codes).toContain('file-checksum-differs');
  writeFileSync(file, `${lines[0]}\n{"path":1}\n${lines[1]?.slice(0, 40)}`);
  appendFileSync(file, '');
  const half = await readBytes(roll, keptReads(reads, DAY));
  expect(half).toMatchObject({ verified: true, codes: ['read-earlier'] });
  expect(half.bytes).toBeGreaterThan(0);
  expect(half.bytes).toBeLessThan(first.bytes);
}, 30_000);
