/** The newest still of a delivery: the one that was made last, small, and only of the bytes that are on record. */
import { createHash } from 'node:crypto';
import { mkdirSync, utimesSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { newestStill } from '../../coordinator/live/stills.ts';
import { layout } from '../../ledger/layout.ts';
import { type StillsReport, stillsReportSchema } from '../../ledger/stills-report.ts';
import { decideStills } from '../../profiles/stills/decide.ts';
import { pngOf } from '../../worker/stills/png.ts';
import { clipFacts, clipNamed } from '../support/facts.ts';
import { freshFolder } from '../support/folder.ts';

interface Made {
  readonly roll: string;
  readonly clip: string;
  /** Seconds since 1970, of the record. */
  readonly at: number;
  readonly level: number;
  readonly spoiled?: boolean;
  readonly state?: 'published' | 'failed';
}

/** Four stills of 96 by 54 of one level of grey each. */
async function put(delivery: string, { roll, clip, at, level, spoiled = false, state = 'published' }: Made) {
  const rollFolder = layout.rollFolder(delivery, 'day-07', roll);
  const folder = layout.stillsFolder(rollFolder);
  mkdirSync(folder, { recursive: true });
  const named = clipNamed(clip);
  const { stills: outcome } = decideStills({
    clip: named,
    facts: clipFacts(),
    asked: { count: 4, width: 96, bits: 8 },
  });
  if (outcome === null) throw new Error('no stills were decided');
  const stills: StillsReport['stills'] = [];
  for (const [index, { frame }] of outcome.stills.entries()) {
    const samples = Buffer.alloc(3 * 96 * 54, level + index);
    const png = await pngOf({ width: 96, height: 54, bits: 8, samples, primaries: 'bt709', texts: [] });
    const path = layout.still(`${clip}.${index}.png`);
    writeFileSync(join(rollFolder, path), spoiled ? Buffer.concat([png, Buffer.alloc(1)]) : png);
    stills.push({
      ...{ frame, timecode: `10:00:00:0${index}`, width: 96, height: 54, bytes: png.length },
      ...{ sha256: createHash('sha256').update(png).digest('hex'), path, xxh128: '00'.repeat(16) },
    });
  }
  const report = stillsReportSchema.parse({
    ...{ version: 0, kind: 'stills', day: 'day-07', roll, clip: named, outcome, stills, state },
    ...{ checks: [], findings: [], host: 'here', run: 'r1', attempt: 1 },
    ...{ startedAt: '2026-11-30T22:00:00.000Z', finishedAt: '2026-11-30T22:00:01.000Z' },
    toolchain: { rushlight: '0.1.0', recipe: 1, digest: '11'.repeat(32), tools: [] },
  });
  const file = layout.stillsReport(rollFolder, named.id);
  writeFileSync(file, JSON.stringify(report));
  utimesSync(file, at, at);
  return { stills, named };
}

/** ITU-T T.81, B.2.2: lines and samples of a line, from the frame header. */
function sizeOf(jpeg: Buffer): readonly [width: number, height: number] {
  const at = jpeg.indexOf(Buffer.from([0xff, 0xc0]));
  return [jpeg.readUInt16BE(at + 7), jpeg.readUInt16BE(at + 5)];
}

test('the one made last, by its middle picture, and the next one when it comes', async () => {
  const delivery = freshFolder('proxies');
  const newest = newestStill();
  const look = () => newest.look(delivery, 'day-07', ['A001', 'B001']);
  expect(await look()).toBeNull();
  await put(delivery, { roll: 'A001', clip: 'A001C001', at: 1_000, level: 40 });
  const { stills, named } = await put(delivery, { roll: 'B001', clip: 'B001C001', at: 2_000, level: 80 });
  const first = await look();
  // Of four the second: the middle, as pages have it.
  expect(first).toEqual({
    of: 'made',
    roll: 'B001',
    clip: named.name,
    timecode: '10:00:00:01',
    version: stills[1]?.sha256.slice(0, 16),
  });
  const picture = newest.picture(first?.version ?? '') as Buffer;
  expect(sizeOf(picture)).toEqual([96, 54]);
  await put(delivery, { roll: 'A001', clip: 'A001C002', at: 3_000, level: 120 });
  const second = await look();
  expect(second).toMatchObject({ roll: 'A001', timecode: '10:00:00:01' });
  expect(second?.version).not.toBe(first?.version);
  // Only what is shown now is given.
  expect(newest.picture(first?.version ?? '')).toBeNull();
  expect(newest.picture('')).toBeNull();
});

test('what is not on record, or failed, is not shown: the one before it stays', async () => {
  const delivery = freshFolder('proxies');
  const newest = newestStill();
  const look = () => newest.look(delivery, 'day-07', ['A001', 'A002', 'A003']);
  await put(delivery, { roll: 'A001', clip: 'A001C001', at: 1_000, level: 40 });
  const first = await look();
  expect(first).toMatchObject({ roll: 'A001' });
  await put(delivery, { roll: 'A002', clip: 'A002C001', at: 2_000, level: 80, spoiled: true });
  await put(delivery, { roll: 'A003', clip: 'A003C001', at: 3_000, level: 80, state: 'failed' });
  expect(await look()).toEqual(first);
});
