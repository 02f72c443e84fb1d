/** The page as a server gives it: whole without script, guarded by a policy, and only what belongs to it is given. */
import { createHash } from 'node:crypto';
import { mkdirSync, statSync, symlinkSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { afterAll, expect, test } from 'vitest';
import { newFeed } from '../../coordinator/live/feed.ts';
import { startPageThread } from '../../coordinator/live/page-thread.ts';
import { putLivePage } from '../../coordinator/live/routes.ts';
import type { Seen } from '../../coordinator/live/seen.ts';
import { keptToken } from '../../coordinator/live/token-file.ts';
import { newServer, type Served } from '../../serve/server.ts';
import { commandProcess } from '../support/cli.ts';
import { freshFolder } from '../support/folder.ts';
import { progressRecord, rollRecord, seenAt, stagedRun, working } from '../support/live.ts';
import { HOSTILE } from '../support/mornings.ts';

const runCommand = commandProcess();
const opened: Served[] = [];
afterAll(async () => {
  for (const server of opened) await server.close();
});

function page(seen: Seen) {
  const staged = stagedRun(seen);
  const server = newServer({ address: { host: '127.0.0.1', port: 4650 }, token: null });
  putLivePage(server.app, newFeed({ watched: staged, serves: true }));
  opened.push(server);
  return {
    staged,
    get: (url: string) => server.app.inject({ url, headers: { host: '127.0.0.1:4650' } }),
  };
}
const running = seenAt({
  state: 'running',
  record: progressRecord({
    rolls: [rollRecord('A001', 'making'), rollRecord('A002', 'held')],
    working: working(2),
  }),
});

test('what it shows stands in the page itself, and its policy lets nothing else run', async () => {
  const { get } = page(running);
  const { statusCode, headers, body } = await get('/');
  expect(statusCode).toBe(200);
  for (const text of ['A001C001', 'making 100 of 400 frames', 'kill -INT 4242', '812 GB', 'A002 is held'])
    expect(body).toContain(text);
  const policy = String(headers['content-security-policy']);
  expect(policy).not.toMatch(/unsafe|https?:|\*/);
  // W3C CSP 3, 8.4: the digest of what stands between the tags, byte for byte.
  for (const [name, tag] of [
    ['style-src', 'style'],
    ['script-src', 'script'],
  ] as const) {
    const inside = [...body.matchAll(new RegExp(`<${tag}>([\\s\\S]*?)</${tag}>`, 'g'))].map(
      ([, text]) => text as string,
    );
    expect(inside).toHaveLength(1);
    const digest = createHash('sha256')
      .update(inside[0] as string)
      .digest('base64');
    expect(policy).toContain(`${name} 'sha256-${digest}'`);
  }
  // Nothing of the page asks for another policy, or for somebody else's server.
  expect(body).not.toMatch(/ style="| on[a-z]+="|https?:\/\//);
});

test('names do nothing to the page', async () => {
  const { get } = page(
    seenAt({
      state: 'running',
      record: progressRecord({ rolls: HOSTILE.map((name) => rollRecord(name, 'making')) }),
    }),
  );
  const { body } = await get('/');
  expect(body.match(/<script/g)).toHaveLength(1);
  expect(body).not.toMatch(/<img src=x|<h1>Everything/);
  expect(body).toContain('&lt;script&gt;document.title');
});

test('one look serves many readers', async () => {
  const { get, staged } = page(running);
  for (let asked = 0; asked < 20; asked += 1) await get('/');
  expect(staged.looks).toBeLessThan(5);
});

test('a still is given under its own version alone', async () => {
  const { get, staged } = page(
    seenAt({ ...running, still: { of: 'made', roll: 'A001', clip: 'c', timecode: null, version: 'ab12' } }),
  );
  staged.pictures.set('ab12', Buffer.from([0xff, 0xd8, 0xff]));
  expect((await get('/')).body).toContain('src="/still.jpg?v=ab12"');
  const answer = await get('/still.jpg?v=ab12');
  expect([answer.statusCode, answer.headers['content-type']]).toEqual([200, 'image/jpeg']);
  for (const url of ['/still.jpg', '/still.jpg?v=other', '/still.jpg?v=ab12&v=ab12'])
    expect((await get(url)).statusCode, url).toBe(404);
});

test('of the disk it gives the morning page, its sheets and records of rolls, and nothing else', async () => {
  const delivery = freshFolder('proxies');
  const put = (path: string, text: string): void => {
    mkdirSync(dirname(join(delivery, path)), { recursive: true });
    writeFileSync(join(delivery, path), text);
  };
  put('day-07/handover/morning.html', '<!doctype html>the morning');
  put('day-07/handover/sheets/A001.jpg', 'sheet');
  put('day-07/handover/night.json', 'private');
  put('day-07/A001/roll.json', '{}');
  put('day-07/A001/reports/A001C001.json', 'private');
  put('day-08/A001/roll.json', 'private');
  put('secret', 'private');
  mkdirSync(join(delivery, 'day-07', 'B001'));
  symlinkSync(join(delivery, 'secret'), join(delivery, 'day-07', 'B001', 'roll.json'));
  symlinkSync(join(delivery, 'day-08', 'A001'), join(delivery, 'day-07', 'C001'));
  const { get } = page(seenAt({ ...running, delivery }));
  await get('/');
  const morning = await get('/day/handover/morning.html');
  expect(morning.body).toContain('the morning');
  expect(String(morning.headers['content-security-policy'])).not.toContain('script-src');
  expect(String(morning.headers['content-security-policy'])).not.toContain('unsafe');
  expect((await get('/day/handover/sheets/A001.jpg')).body).toBe('sheet');
  expect((await get('/day/A001/roll.json')).headers['content-type']).toContain('application/json');
  for (const path of [
    'handover/night.json',
    'A001/reports/A001C001.json',
    '../day-08/A001/roll.json',
    '%2e%2e/day-08/A001/roll.json',
    '..%2fday-08%2fA001%2froll.json',
    'A001/../../secret',
    'A001/..%2f..%2fsecret',
    'B001/roll.json',
    'C001/roll.json',
    'handover/sheets/..%2f..%2fA001%2froll.json',
    'handover/sheets/none.jpg',
    'handover/sheets/%00.jpg',
    '',
  ]) {
    const answer = await get(`/day/${path}`);
    expect(answer.statusCode, path).toBe(404);
    expect(answer.body, path).not.toContain('private');
  }
});

test('the token stays for the next run of the day, for its user alone, and is another one after it', async () => {
  const work = join(freshFolder('token'), 'work');
  const began = Date.parse('2026-11-30T21:00:00.000Z');
  const token = await keptToken(work, began);
  expect(statSync(join(work, 'page-token.json')).mode & 0o777).toBe(0o600);
  expect(await keptToken(work, began + 12 * 3600_000)).toBe(token);
  expect(await keptToken(work, began + 25 * 3600_000)).not.toBe(token);
  // A clock that was set back, and a file that somebody broke.
  expect(await keptToken(work, began - 1)).not.toBe(token);
  writeFileSync(join(work, 'page-token.json'), '{ torn');
  expect(await keptToken(work, began)).toMatch(/^[0-9a-z]{20}$/);
});

test('an address that is taken is refused with what to do, before anything is served', async () => {
  const folder = freshFolder('taken');
  const taken = newServer({ address: { host: '127.0.0.1', port: 0 }, token: null });
  opened.push(taken);
  const [address = ''] = await taken.listen();
  const { host } = new URL(address);
  const args = ['status', folder, '--work', join(folder, 'work'), '--page', host];
  const { code, stdout, stderr } = await runCommand(args);
  expect(code, stderr).toBe(2);
  expect(stderr).toContain('page-address-refused');
  expect(stderr).toContain(`${host}: EADDRINUSE`);
  expect(stdout).toBe('');
  // A folder that slipped in behind the option is no address.
  const slipped = await runCommand(['run', '--page', folder, folder, '--deliver', folder]);
  expect(slipped.code).toBe(2);
  expect(slipped.stderr).toContain('must be an address and a port');
});

test('a thread serves it for a run, says why where it cannot, and ends when it is told', async () => {
  const work = freshFolder('thread');
  const gone: string[] = [];
  const setup = {
    watch: { work, delivery: work, day: 'day-07', awaited: true },
    address: { host: '127.0.0.1', port: 0 },
    serves: false,
  };
  const thread = startPageThread(setup, (why) => gone.push(why));
  const started = await thread.started;
  if ('why' in started) throw new Error(started.why);
  const [address = ''] = started.addresses;
  expect(await (await fetch(address)).text()).toContain('A run begins.');
  const second = startPageThread(
    { ...setup, address: { host: '127.0.0.1', port: Number(new URL(address).port) } },
    (why) => gone.push(why),
  );
  expect(await second.started).toEqual({ why: 'EADDRINUSE' });
  await second.end();
  const events = await fetch(`${address}events`);
  const ending = events.text();
  await thread.end();
  expect(await ending).toMatch(/^retry: \d+\n\nevent: whole\n[\s\S]*event: end\n/);
  await expect(fetch(address)).rejects.toThrow();
  expect(gone).toEqual([]);
});
