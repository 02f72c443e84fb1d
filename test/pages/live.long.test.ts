/**
 * The live page in a browser, on a real server: every state of a run, what comes over the wire, a server that goes away and comes back, and
 * a night of updates. RUSHLIGHT_TEST_SHOTS=<folder> keeps pictures of the states, to be looked at.
 */
import { mkdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import type { CDPSession, Page } from 'playwright-core';
import { afterEach, describe, expect, test } from 'vitest';
import { type Feed, newFeed } from '../../coordinator/live/feed.ts';
import { putLivePage } from '../../coordinator/live/routes.ts';
import type { Seen } from '../../coordinator/live/seen.ts';
import { jpegOf } from '../../handover/picture/jpeg.ts';
import { newServer, type Served } from '../../serve/server.ts';
import { newToken } from '../../serve/token.ts';
import { overflowOf, reader, violationsOf } from '../support/browser.ts';
import {
  nightRecord,
  progressRecord,
  type RollRecord,
  rollRecord,
  seenAt,
  type Staged,
  stagedRun,
  working,
} from '../support/live.ts';
import { checksumDiffers, HOSTILE, pictureWithDetail } from '../support/mornings.ts';

const open = reader();
const shots = process.env.RUSHLIGHT_TEST_SHOTS;

interface Live {
  readonly staged: Staged;
  readonly feed: Feed;
  readonly address: string;
  /** As a run that is killed: nobody is told. */
  readonly kill: () => Promise<void>;
}

const servers: Served[] = [];
afterEach(async () => {
  for (const server of servers.splice(0)) await server.close();
});

async function live(
  seen: Seen,
  { port = 0, token = null, every = 40 }: { port?: number; token?: string | null; every?: number } = {},
): Promise<Live> {
  const staged = stagedRun(seen);
  const feed = newFeed({ watched: staged, serves: true, lookMilliseconds: every });
  const server = newServer({ address: { host: token === null ? '127.0.0.1' : '0.0.0.0', port }, token });
  putLivePage(server.app, feed);
  servers.push(server);
  const [address = ''] = await server.listen();
  return { staged, feed, address, kill: () => server.close() };
}

const rolls: readonly RollRecord[] = [
  rollRecord('A001', 'ready'),
  rollRecord('A002', 'making', { framesMade: 320, jobsOver: 3, afterwards: [] }),
  rollRecord('A003', 'reading', { bytesRead: 210_000_000_000, bytesTotal: 512_000_000_000 }),
  rollRecord('B001', 'ready'),
  rollRecord('B002', 'held'),
  rollRecord('B003', 'waiting'),
];
const held = [{ roll: 'B002', findings: [checksumDiffers('B002')] }];
const still = {
  of: 'made',
  roll: 'A001',
  clip: 'A001C003',
  timecode: '10:12:04:08',
  version: 'one',
} as const;
const running = seenAt({
  state: 'running',
  record: progressRecord({ rolls: [...rolls], working: working(3) }),
  held,
  still,
});
const night = nightRecord({
  rolls: rolls.map(({ roll, phase }) => ({
    roll,
    verdict: phase === 'held' ? ('held' as const) : ('ready' as const),
    recorded: true,
    findings: [],
  })),
});
const morning = '/volumes/proxies/day-07/handover/morning.html';
const thousand = (turn = 0): RollRecord[] =>
  Array.from({ length: 1000 }, (_, at) => {
    const roll = `R${String(at).padStart(4, '0')}`;
    if (at < 300 + turn) return rollRecord(roll, at % 50 === 49 ? 'held' : 'ready');
    return at < 308 + turn
      ? rollRecord(roll, 'making', { framesMade: (turn * 7) % 400 })
      : rollRecord(roll, 'waiting');
  });

/** Each what is seen, and what its first heading says. */
const states: readonly (readonly [name: string, seen: Seen, headline: string])[] = [
  ['none', seenAt({ state: 'none', day: null, pid: null }), 'No run is at work.'],
  ['beginning', seenAt({ state: 'beginning' }), 'A run begins.'],
  ['running', running, 'At work. 2 of 6 rolls are ready. B002 is held.'],
  ['quiet', seenAt({ ...running, ageSeconds: 600 }), 'At work. 2 of 6 rolls are ready. B002 is held.'],
  [
    'interrupted',
    seenAt({ state: 'interrupted', night: { ...night, interrupted: true }, held, still, pid: null }),
    'The run was interrupted. 5 of 6 rolls are ready. B002 is held.',
  ],
  [
    'stopped',
    seenAt({ ...running, state: 'stopped', pid: null }),
    'The run stopped before its end. 2 of 6 rolls are ready. B002 is held.',
  ],
  [
    'ended',
    seenAt({ state: 'ended', night, held, still, morning, pid: null }),
    'The run has ended. 5 of 6 rolls are ready. B002 is held.',
  ],
  [
    'hostile',
    seenAt({
      state: 'running',
      record: progressRecord({
        rolls: HOSTILE.map((name, at) => rollRecord(name, at % 3 === 0 ? 'held' : 'making')),
        working: HOSTILE.map((name) => ({ roll: name, clip: name, phase: 'make', frames: 1, total: 2 })),
      }),
      held: HOSTILE.filter((_, at) => at % 3 === 0).map((roll) => ({
        roll,
        findings: [checksumDiffers(roll)],
      })),
      delivery: `/volumes/${HOSTILE[9]}`,
    }),
    'At work. None of 13 rolls is ready.',
  ],
  [
    'thousand',
    seenAt({
      state: 'running',
      record: progressRecord({ rolls: thousand(), working: working(50) }),
      held,
      still,
    }),
    'At work. 294 of 1000 rolls are ready.',
  ],
];

const headlineOf = (page: Page): Promise<string> =>
  page.evaluate<string>("document.querySelector('h1').textContent");

/** Everything that is shown, in order: what a reader reads. */
const shownOn = (page: Page): Promise<string> =>
  page.evaluate<string>('[document.title, document.body.dataset.state, document.body.innerText].join("\\n")');

test.each(states)('%s', async (name, seen, headline) => {
  const { staged, address } = await live(seen);
  staged.pictures.set('one', jpegOf(pictureWithDetail(640, 360, 3), 80));
  if (shots !== undefined) mkdirSync(shots, { recursive: true });
  for (const colorScheme of ['light', 'dark'] as const)
    for (const width of [390, 1280]) {
      const page = await open(address, { colorScheme, viewport: { width, height: 900 } });
      await page.waitForFunction('document.getElementById("pause").hidden === false');
      expect((await headlineOf(page)).startsWith(headline)).toBe(true);
      if (shots !== undefined)
        await page.screenshot({
          path: join(shots, `live-${name}-${width}-${colorScheme}.png`),
          fullPage: true,
        });
      await page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })");
      expect(await violationsOf(page), `${colorScheme}, ${width} pixels`).toEqual([]);
      expect(await overflowOf(page)).toBe(0);
      // No name became an element, a title or a script.
      expect(await page.evaluate('document.images.length')).toBe(1);
      expect(await page.title()).not.toBe('taken');
      await page.context().close();
    }
});

test('without script it shows how things stand, and says that it does not change', async () => {
  const { staged, address } = await live(running);
  staged.pictures.set('one', jpegOf(pictureWithDetail(64, 36, 3), 80));
  const page = await open(address, { javaScriptEnabled: false });
  const text = await page.locator('body').textContent();
  for (const part of ['At work. 2 of 6 rolls are ready.', 'A001C001', 'Copy the file again', 'Load it again'])
    expect(text).toContain(part);
  expect(await page.locator('#pause').isVisible()).toBe(false);
  await page.context().close();
});

describe('what comes over the wire', () => {
  test('after any way through states, the page is what it would be if it were loaded then', async () => {
    const { staged, address } = await live(seenAt({ state: 'beginning' }));
    const page = await open(address);
    const order = [
      'running',
      'thousand',
      'hostile',
      'running',
      'quiet',
      'stopped',
      'none',
      'thousand',
      'ended',
    ];
    for (const name of order) {
      const [, seen, headline] = states.find(([state]) => state === name) as (typeof states)[number];
      staged.seen = seen;
      await expect.poll(() => headlineOf(page)).toContain(headline);
      await expect.poll(() => page.evaluate('document.body.dataset.state')).toBe(seen.state);
      const fresh = await open(address);
      await fresh.waitForFunction('document.getElementById("pause").hidden === false');
      // What was said aloud since it was opened, the one has heard and the other reads.
      const [one, other] = [await shownOn(page), await shownOn(fresh)];
      expect(one).toBe(other);
      await fresh.context().close();
    }
    await page.context().close();
  });

  test('what is decided is said aloud once, what counts is not, and what has the focus keeps it', async () => {
    const { staged, address } = await live(running);
    const page = await open(address);
    await page.evaluate(
      "window.said = []; for (const one of document.querySelectorAll('[role=status]')) new MutationObserver(() => window.said.push(one.textContent)).observe(one, { childList: true, characterData: true, subtree: true });",
    );
    await page.locator('#pause').focus();
    const record = running.record as NonNullable<Seen['record']>;
    for (let turn = 1; turn <= 5; turn += 1) {
      staged.seen = {
        ...running,
        record: { ...record, working: working(3).map((one) => ({ ...one, frames: 300 + turn })) },
      };
      await expect
        .poll(() => page.locator('[data-list=working]').textContent())
        .toContain(`${300 + turn} of 400`);
    }
    expect(await page.evaluate('window.said')).toEqual([]);
    staged.seen = {
      ...running,
      record: {
        ...record,
        rolls: rolls.map((roll) => (roll.roll === 'A002' ? { ...roll, phase: 'ready' } : roll)),
      },
    };
    await expect.poll(() => page.evaluate('window.said')).toEqual(['A002 is ready.']);
    expect(await page.evaluate('document.activeElement.id')).toBe('pause');
    await page.context().close();
  });

  /** WCAG 2.2, 2.2.2: what moves by itself can be held still. */
  test('it is held still by keyboard, and goes on', async () => {
    const { staged, address, feed } = await live(running);
    const page = await open(address);
    await page.waitForFunction('document.getElementById("pause").hidden === false');
    await page.keyboard.press('Tab');
    expect(await page.evaluate('document.activeElement.textContent')).toBe('Skip to: what goes on');
    await page.keyboard.press('Tab');
    expect(await page.evaluate('document.activeElement.id')).toBe('pause');
    expect(await page.evaluate('getComputedStyle(document.activeElement).outlineStyle')).toBe('solid');
    await page.keyboard.press('Enter');
    expect(await page.locator('#line').textContent()).toMatch(
      /^Not updated since \d\d:\d\d\. The run goes on\.$/,
    );
    const before = await page.locator('main').textContent();
    staged.seen = seenAt({ state: 'ended', night, held });
    await expect.poll(async () => (await feed.view()).texts.state).toBe('ended');
    expect(await page.locator('main').textContent()).toBe(before);
    await page.keyboard.press('Space');
    await expect.poll(() => headlineOf(page)).toContain('The run has ended.');
    await page.context().close();
  });

  test('the end is said, and the morning page is one step away', async () => {
    const { staged, address, feed } = await live(running);
    const page = await open(address);
    staged.seen = seenAt({ state: 'ended', night, held, morning });
    await expect
      .poll(() => headlineOf(page))
      .toBe('The run has ended. 5 of 6 rolls are ready. B002 is held.');
    expect(await page.getByRole('link', { name: 'Open the morning page' }).getAttribute('href')).toBe(
      '/day/handover/morning.html',
    );
    await feed.end();
    await expect.poll(() => page.locator('#line').textContent()).toContain('The run is over');
    expect(await headlineOf(page)).toContain('5 of 6 rolls are ready');
    await page.context().close();
  });
});

test('a server that goes away is missed, and one that comes back is believed', async () => {
  const first = await live(running);
  const port = Number(new URL(first.address).port);
  const page = await open(first.address);
  await expect.poll(() => headlineOf(page)).toContain('At work.');
  await first.kill();
  await expect
    .poll(() => page.locator('#line').textContent(), { timeout: 40_000 })
    .toMatch(/^Nothing has been heard since \d\d:\d\d\. What is shown may be old\./);
  // The one that comes back counts from the beginning, and knows another truth.
  const second = await live(
    seenAt({
      state: 'running',
      record: progressRecord({ run: 'r2', rolls: [rollRecord('A001', 'making')] }),
    }),
    { port },
  );
  await expect.poll(() => headlineOf(page), { timeout: 40_000 }).toBe('At work. No roll is decided yet.');
  await expect.poll(() => page.locator('#line').textContent()).toBe('');
  expect(await page.locator('[data-list=rolls] > li').count()).toBe(1);
  expect(await page.locator('section[aria-labelledby=held]').isVisible()).toBe(false);
  await second.kill();
  await page.context().close();
}, 180_000);

test('with a token: the whole address once, then the cookie; without it nothing', async () => {
  const token = newToken();
  const { address, kill } = await live(running, { token });
  const { port } = new URL(address);
  const here = `http://127.0.0.1:${port}/`;
  const stranger = await open(here);
  expect(await stranger.locator('body').textContent()).toContain('Type the whole address');
  await stranger.context().close();
  const page = await open(`${here}?token=${token}`);
  await expect.poll(() => headlineOf(page)).toContain('At work.');
  expect(page.url()).toBe(here);
  expect(await page.evaluate('document.cookie')).toBe('');
  expect(await page.content()).not.toContain(token);
  // Started again on another day: what the page kept opens nothing any more, and it says what to do.
  await kill();
  await live(running, { token: newToken(), port: Number(port) });
  await expect
    .poll(() => page.locator('#line').textContent(), { timeout: 40_000 })
    .toContain('Type the whole address');
  await page.context().close();
}, 180_000);

/** Of the process that draws the page, bytes that are its own: Linux, proc(5). */
async function ownBytes(page: Page, session: CDPSession): Promise<number> {
  const browser = page.context().browser();
  if (browser === null) throw new Error('no browser');
  const whole = await browser.newBrowserCDPSession();
  const { processInfo } = (await whole.send('SystemInfo.getProcessInfo')) as {
    processInfo: readonly { type: string; id: number }[];
  };
  await whole.detach();
  await session.send('HeapProfiler.collectGarbage');
  return Math.max(
    ...processInfo
      .filter(({ type }) => type === 'renderer')
      .map(({ id }) => {
        const text = readFileSync(`/proc/${id}/smaps_rollup`, 'utf8');
        return [...text.matchAll(/^Private_(?:Clean|Dirty): +(\d+) kB$/gm)].reduce(
          (sum, [, kilobytes]) => sum + 1024 * Number(kilobytes),
          0,
        );
      }),
  );
}

/** Eight hours are 14 400 looks; they come here as fast as the page takes them. */
const LOOKS = 14_400;

test('a night of updates of 1 000 rolls and 50 workers: all arrive, little changes at a time, and at most 50 MB more are held', async () => {
  const pictures = Array.from({ length: 40 }, (_, at) => jpegOf(pictureWithDetail(640, 360, at), 80));
  const { staged, address } = await live(
    seenAt({ state: 'running', record: progressRecord({ rolls: thousand(), working: working(50) }) }),
    { every: 10 },
  );
  const page = await open(address);
  await page.waitForFunction('document.getElementById("pause").hidden === false');
  const session = await page.context().newCDPSession(page);
  const turnOf = (turn: number): Seen => {
    const version = `v${turn % 400}`;
    staged.pictures = new Map([[version, pictures[turn % 40] as Buffer]]);
    return seenAt({
      state: 'running',
      record: progressRecord({
        at: new Date(Date.UTC(2026, 10, 30, 21) + 2_000 * turn).toISOString(),
        framesPerSecond: 10 + (turn % 100) / 10,
        rolls: thousand(Math.floor(turn / 24)),
        working: working(50).map((one, at) => ({ ...one, frames: (turn + 7 * at) % 400 })),
      }),
      held: turn % 100 < 50 ? held : [],
      // A clip is made every minute: a still every thirty looks.
      ...(turn % 30 === 0 ? { still: { ...still, version } } : { still: staged.seen.still }),
    });
  };
  // What one update changes, counted and not timed: others may keep the machine busy.
  await page.evaluate(
    'window.most = 0; window.turns = 0; new MutationObserver((list) => { window.most = Math.max(window.most, list.length); window.turns += 1; }).observe(document.body, { childList: true, characterData: true, attributes: true, subtree: true });',
  );
  const looks = staged.looks;
  staged.look = async () => {
    staged.looks += 1;
    staged.seen = turnOf(Math.min(LOOKS, staged.looks - looks));
    return staged.seen;
  };
  const nodes = () => page.evaluate<number>("document.querySelectorAll('*').length");
  // The first hour fills what browsers keep anyhow.
  await expect.poll(() => staged.looks - looks, { timeout: 300_000 }).toBeGreaterThan(LOOKS / 8);
  const [before, nodesBefore] = [await ownBytes(page, session), await nodes()];
  await expect.poll(() => staged.looks - looks, { timeout: 1_200_000 }).toBeGreaterThan(LOOKS);
  const last = staged.seen.record as NonNullable<Seen['record']>;
  await expect
    .poll(() => page.locator('[data-list=working] > li').first().textContent(), { timeout: 60_000 })
    .toContain(`${last.working[0]?.frames} of 400 frames`);
  expect(await page.locator('.facts').textContent()).toContain(
    `${last.rolls.filter(({ phase }) => phase === 'ready').length} of 1000`,
  );
  const after = await ownBytes(page, session);
  expect(after - before).toBeLessThan(50_000_000);
  expect(await nodes()).toBeLessThan(2_000);
  expect(Math.abs((await nodes()) - nodesBefore)).toBeLessThan(300);
  // 50 clips with a text and a bar, eight rolls likewise, and what comes and goes at the joints.
  expect(await page.evaluate<number>('window.most')).toBeLessThan(300);
  expect(await page.evaluate<number>('window.turns')).toBeGreaterThan(LOOKS / 4);
  if (shots !== undefined)
    console.log(
      `${(after - before) / 1e6} MB more; ${await page.evaluate('`${window.turns} updates, at most ${window.most} changes`')}`,
    );
  await page.context().close();
}, 1_800_000);
