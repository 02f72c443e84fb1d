/** Pictures of frames that are being made, as the page finds them: asked for again and again, the newest shown, an old one not. */
import { mkdirSync, readFileSync, existsSync, rmSync, utimesSync, writeFileSync } from 'node:fs';
import { expect, test } from 'vitest';
import { frameViews } from '../../coordinator/live/views.ts';
import { layout } from '../../ledger/layout.ts';
import { pngOf } from '../../worker/stills/png.ts';
import { freshFolder } from '../support/folder.ts';

const DAY = 'day-07';
const folderOf = (delivery: string, roll: string): string => layout.rollFolder(delivery, DAY, roll);

function making(delivery: string, ...rolls: readonly string[]): void {
  for (const roll of rolls) mkdirSync(layout.jobPartsFolder(folderOf(delivery, roll)), { recursive: true });
}

interface Put {
  readonly roll: string;
  readonly clip: string;
  /** Seconds since 1970. */
  readonly at: number;
}

/** As a worker leaves it. */
async function put(delivery: string, { roll, clip, at }: Put): Promise<void> {
  const texts = [
    ['Title', clip],
    ['Timecode', '10:00:00:07'],
  ] as const;
  const samples = Buffer.alloc(3 * 96 * 54, at % 256);
  const png = await pngOf({ width: 96, height: 54, bits: 8, samples, primaries: 'bt709', texts });
  const file = layout.view(folderOf(delivery, roll), clip);
  writeFileSync(file, png);
  utimesSync(file, at, at);
}

const askedIn = (delivery: string, roll: string): string =>
  readFileSync(layout.viewAsked(folderOf(delivery, roll)), 'utf8');

test('workers of rolls that are being made are asked every ten seconds, others never', async () => {
  const delivery = freshFolder('proxies');
  making(delivery, 'A001');
  let now = 0;
  const views = frameViews(() => now);
  expect(await views.look(delivery, DAY, ['A001', 'B001'])).toBeNull();
  const first = askedIn(delivery, 'A001');
  expect(existsSync(folderOf(delivery, 'B001'))).toBe(false);
  now = 9_000;
  await views.look(delivery, DAY, ['A001']);
  expect(askedIn(delivery, 'A001')).toBe(first);
  now = 10_000;
  await views.look(delivery, DAY, ['A001']);
  expect(askedIn(delivery, 'A001')).not.toBe(first);
});

test('the newest is shown, until nobody has made one for a while', async () => {
  const delivery = freshFolder('proxies');
  making(delivery, 'A001', 'B001');
  let now = 0;
  const views = frameViews(() => now);
  const look = () => views.look(delivery, DAY, ['A001', 'B001']);
  await look();
  await put(delivery, { roll: 'A001', clip: 'A001C001', at: 2_000 });
  await put(delivery, { roll: 'B001', clip: 'B001C001', at: 1_000 });
  const first = await look();
  expect(first).toMatchObject({ of: 'being-made', roll: 'A001', clip: 'A001C001', timecode: '10:00:00:07' });
  expect(
    views
      .picture(first?.version ?? '')
      ?.subarray(0, 2)
      .toString('hex'),
  ).toBe('ffd8');
  now = 40_000;
  await put(delivery, { roll: 'B001', clip: 'B001C001', at: 3_000 });
  expect(await look()).toMatchObject({ roll: 'B001' });
  expect(views.picture(first?.version ?? '')).toBeNull();
  // That of A001 has stood still for 50 s, that of B001 for ten.
  now = 50_000;
  rmSync(layout.view(folderOf(delivery, 'B001'), 'B001C001'));
  expect(await look()).toBeNull();
});

test.each([
  ['no picture', 'hello'],
  ['nothing', ''],
])('a file that is %s is not shown', async (_, bytes) => {
  const delivery = freshFolder('proxies');
  making(delivery, 'A001');
  const views = frameViews(() => 0);
  await views.look(delivery, DAY, ['A001']);
  writeFileSync(layout.view(folderOf(delivery, 'A001'), 'A001C001'), bytes);
  expect(await views.look(delivery, DAY, ['A001'])).toBeNull();
});
