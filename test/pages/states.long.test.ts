/**
 * Every state of the pages in a browser: on a screen as wide as a desk's and as a phone's, light and dark, by keyboard, and on
 * paper. RUSHLIGHT_TEST_SHOTS=<folder> keeps pictures of all of them, to be looked at.
 */
import { mkdirSync, readFileSync, statSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { finding } from '../../findings/finding.ts';
import type { DayDifferences } from '../../handover/consistency/differences.ts';
import { showMadeOf } from '../../handover/consistency/show.ts';
import { morningPageOf } from '../../handover/page/morning-page.ts';
import { pictureKey } from '../../handover/page/morning.ts';
import { boxFor, MOST_BYTES, packed } from '../../handover/page/room.ts';
import { showPageOf } from '../../handover/page/show-page.ts';
import { overflowOf, reader, violationsOf } from '../support/browser.ts';
import { freshFolder } from '../support/folder.ts';
import { madeDay } from '../support/made-days.ts';
import {
  checksumDiffers,
  copyOf,
  dayOf,
  HOSTILE,
  heldRoll,
  morningOf,
  pictureWithDetail,
  readyRoll,
} from '../support/mornings.ts';

const open = reader();
const shots = process.env.RUSHLIGHT_TEST_SHOTS;

const differences: DayDifferences = {
  before: 'day-06',
  differences: [
    {
      what: 'audio layout',
      profile: 'editorial-vc3',
      now: '2 x mono pcm_s24le 48000 Hz',
      before: '1 x stereo pcm_s24le 48000 Hz',
      where: 'B002 B002C001',
      why: 'recorded with 1+1 channels',
    },
  ],
};
const note = finding('copy-same-drive', '/volumes/raid and /volumes/backup-1', 'a drive of its own', {
  roll: 'A001',
  copy: '/volumes/backup-1/day-07/A001',
});

async function threeRolls() {
  return [
    { ...(await readyRoll('A001', ['A001C001', 'A001C002', 'A001C003'])), findings: [note] },
    await readyRoll('A002', ['A002C001']),
    heldRoll(
      {
        ...(await readyRoll('B002', ['B002C001'])),
        copiesRead: [copyOf('/volumes/raid/day-07/B002'), copyOf('/volumes/backup-1/day-07/B002', false)],
      },
      [checksumDiffers('B002')],
    ),
  ];
}
const one = { ready: 6, rolls: 6, clips: 30, length: '41 min 07 s' };

/** Each a page, and what its first heading says. */
const states: readonly (readonly [name: string, html: () => Promise<string>, verdict: string])[] = [
  [
    'ready',
    async () => morningPageOf(morningOf(dayOf((await threeRolls()).slice(0, 2)), { differences })),
    'Both rolls are ready.',
  ],
  [
    'held',
    async () => morningPageOf(morningOf(dayOf(await threeRolls()), { differences })),
    '2 of 3 rolls are ready. B002 is held.',
  ],
  [
    'running',
    async () =>
      morningPageOf(
        morningOf(dayOf(await threeRolls()), {
          state: { kind: 'running', began: '2026-11-30T21:12:00.000Z' },
          unrecorded: [{ roll: 'C001', findings: [] }],
          pictures: new Map(),
          withoutPictures: 'Pictures are added when the run ends.',
        }),
      ),
    'The run has not come to its end. On record: 2 of 4 rolls are ready.',
  ],
  [
    'interrupted',
    async () =>
      morningPageOf(
        morningOf(dayOf((await threeRolls()).slice(0, 2)), {
          state: {
            kind: 'interrupted',
            began: '2026-11-30T21:12:00.000Z',
            ended: '2026-12-01T01:00:00.000Z',
          },
          unrecorded: [
            {
              roll: 'B002',
              findings: [
                finding('run-interrupted', 'an interrupt', 'a run that comes to its own end', {
                  roll: 'B002',
                }),
              ],
            },
          ],
        }),
      ),
    'The run was interrupted. 2 of 3 rolls are ready. B002 is held.',
  ],
  [
    'unfinished',
    async () =>
      morningPageOf(
        morningOf(dayOf([]), {
          state: { kind: 'unfinished', began: '2026-11-30T21:12:00.000Z' },
          unrecorded: [{ roll: 'A001', findings: [] }],
        }),
      ),
    'The run stopped before its end. The one roll is not ready. A001 is held.',
  ],
  ['empty', async () => morningPageOf(morningOf(dayOf([]), { differences: null })), 'There is no roll here.'],
  [
    'hostile',
    async () =>
      morningPageOf(
        morningOf(
          dayOf([
            await readyRoll(HOSTILE[0], [...HOSTILE]),
            heldRoll(await readyRoll(HOSTILE[7], [HOSTILE[1]]), [checksumDiffers(HOSTILE[6])]),
          ]),
        ),
      ),
    `1 of 2 rolls is ready. ${HOSTILE[7]} is held.`,
  ],
  [
    'show',
    async () =>
      showPageOf({
        made: showMadeOf([madeDay('day-06'), madeDay('day-07', { raster: '1920x1008' })]),
        days: [
          { day: 'day-06', ...one, page: 'day-06/handover/morning.html' },
          { day: 'day-07', ...one, ready: 5, page: null },
        ],
      }),
    'The deliverables of 2 days differ in raster.',
  ],
];

test.each(states)('%s', async (name, html, verdict) => {
  const file = join(freshFolder('page'), 'morning.html');
  writeFileSync(file, await html());
  if (shots !== undefined) mkdirSync(shots, { recursive: true });
  for (const colorScheme of ['light', 'dark'] as const)
    for (const width of [390, 1280]) {
      const page = await open(file, { colorScheme, viewport: { width, height: 900 } });
      expect(await page.evaluate("document.querySelector('h1').textContent")).toBe(verdict);
      // What is folded away must be readable too.
      await page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })");
      expect(await violationsOf(page), `${colorScheme}, ${width} pixels`).toEqual([]);
      expect(await overflowOf(page)).toBe(0);
      if (shots !== undefined)
        await page.screenshot({ path: join(shots, `${name}-${width}-${colorScheme}.png`), fullPage: true });
      await page.context().close();
    }
});

test('by keyboard: a way past the head, every link and every fold in order, each seen when it has the focus', async () => {
  const file = join(freshFolder('page'), 'morning.html');
  writeFileSync(file, morningPageOf(morningOf(dayOf(await threeRolls()), { differences })));
  const first = await open(file);
  await first.keyboard.press('Tab');
  expect(await first.evaluate('document.activeElement.textContent')).toBe('Skip to: What is held');
  expect(await first.evaluate('document.activeElement.getBoundingClientRect().left >= 0')).toBe(true);
  await first.keyboard.press('Enter');
  expect(await first.evaluate('document.activeElement.id')).toBe('held');
  await first.context().close();
  const page = await open(file);
  const wanted = await page.evaluate<number>("document.querySelectorAll('a[href], summary').length");
  const walked: string[] = [];
  for (let step = 0; step < wanted; step += 1) {
    await page.keyboard.press('Tab');
    walked.push(
      await page.evaluate<string>(
        "(() => { const one = document.activeElement; const all = [...document.querySelectorAll('a[href], summary')]; return `${all.indexOf(one)} ${getComputedStyle(one).outlineStyle}`; })()",
      ),
    );
  }
  expect(walked).toEqual(Array.from({ length: wanted }, (_, index) => `${index} solid`));
  // The last one is a fold: it opens and closes by the keyboard alone.
  const isOpen = (): Promise<boolean> => page.evaluate<boolean>('document.activeElement.parentElement.open');
  expect(await isOpen()).toBe(false);
  await page.keyboard.press('Enter');
  expect(await isOpen()).toBe(true);
  await page.keyboard.press('Space');
  expect(await isOpen()).toBe(false);
  await page.context().close();
});

test('a screen reader finds the parts by their names, and pictures by what they show', async () => {
  const file = join(freshFolder('page'), 'morning.html');
  writeFileSync(file, morningPageOf(morningOf(dayOf(await threeRolls()), { differences })));
  const page = await open(file);
  for (const [role, name] of [
    ['banner', ''],
    ['navigation', 'On this page'],
    ['main', ''],
    ['contentinfo', ''],
    ['region', 'What is held, and what to do'],
    ['region', 'A001'],
    ['list', 'Clips of A001'],
    ['img', 'A001C001 at 10:00:00:12'],
    ['table', 'Every roll of day-07'],
  ] as const)
    expect(
      await page.getByRole(role, name === '' ? {} : { name, exact: true }).count(),
      `${role} ${name}`,
    ).toBe(1);
  await page.context().close();
});

test('on paper: nothing is folded away, nothing is dark, and it comes out as pages', async () => {
  const folder = freshFolder('page');
  const file = join(folder, 'morning.html');
  writeFileSync(file, morningPageOf(morningOf(dayOf(await threeRolls()), { differences })));
  const page = await open(file, { colorScheme: 'dark' });
  expect(
    await page.evaluate(
      "document.querySelector('details table').checkVisibility({ contentVisibilityAuto: true })",
    ),
  ).toBe(false);
  await page.emulateMedia({ media: 'print', colorScheme: 'dark' });
  const heights = await page.evaluate<number[]>(
    "[...document.querySelectorAll('details > :not(summary)')].map((one) => one.getBoundingClientRect().height)",
  );
  expect(heights.length).toBeGreaterThan(3);
  expect(heights.filter((height) => height < 10)).toEqual([]);
  expect(await page.evaluate("getComputedStyle(document.querySelector('h1')).color")).toBe('rgb(30, 28, 25)');
  expect(await page.evaluate("getComputedStyle(document.querySelector('nav')).display")).toBe('none');
  const pdf = await page.pdf({
    format: 'A4',
    ...(shots === undefined ? {} : { path: join(shots, 'held.pdf') }),
  });
  expect(pdf.subarray(0, 5).toString()).toBe('%PDF-');
  const pages = pdf.toString('latin1').match(/\/Type\s*\/Page\b/g)?.length ?? 0;
  expect(pages).toBeGreaterThan(1);
  expect(pages).toBeLessThan(8);
  await page.context().close();
});

test('300 clips, each with its picture: under 6 MB, whole, and no wider than its window', async () => {
  const names = Array.from({ length: 300 }, (_, index) => `A001C${String(index + 1).padStart(3, '0')}`);
  const day = dayOf([await readyRoll('A001', names)]);
  const box = boxFor(300) ?? { width: 0, height: 0 };
  expect(box).toEqual({ width: 320, height: 180 });
  const files = packed(names.map((_, index) => pictureWithDetail(box.width, box.height, index))) ?? [];
  const pictures = new Map(
    names.map((name, index) => [
      pictureKey('A001', name),
      { base64: files[index] ?? '', ...box, timecode: null },
    ]),
  );
  const file = join(freshFolder('page'), 'morning.html');
  writeFileSync(file, morningPageOf(morningOf(day, { pictures })));
  const { size } = statSync(file);
  expect(size).toBeLessThan(6_000_000);
  // Room that is there is used.
  expect(size).toBeGreaterThan(MOST_BYTES / 3);
  expect(readFileSync(file, 'utf8').endsWith('</html>\n')).toBe(true);
  const page = await open(file);
  const widths = await page.evaluate<number[]>(
    'Promise.all([...document.images].map((one) => one.decode().then(() => one.naturalWidth)))',
  );
  expect(widths).toEqual(names.map(() => 320));
  expect(await overflowOf(page)).toBe(0);
  expect(await violationsOf(page)).toEqual([]);
  if (shots !== undefined) await page.screenshot({ path: join(shots, '300-1280.png'), fullPage: true });
  await page.context().close();
});
