/**
 * Standing coordinators and stores that end in mid-night. What takes over is measured from the kill to the first act of whoever takes
 * over; of another machine it is judged by the observer's own clock alone, since it has another id (files/machine-id.ts).
 */
import { existsSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, expect, onTestFinished, test } from 'vitest';
import { LEASE_DEAD_MILLISECONDS } from '../../ledger/lease.ts';
import { hangingReceiver, metricOf, placeRoll, SHOW, startCoordinator } from '../support/coordinator.ts';
import { makeDay } from '../support/day.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { encoding, heldFfmpeg, RUNS_MILLISECONDS } from '../support/night.ts';
import { eventually } from '../support/processes.ts';
import { sharedRedis } from '../support/redis.ts';

const made = join(sharedFolder, 'coordinators', 'day-01');
/** What the project promises of a coordinator whose machine is lost. */
const TAKEN_OVER_MILLISECONDS = 75_000;

beforeAll(async () => {
  await makeDay(made, { A001: { 'A001C001.mov': { frames: 24, size: '256x144' } } });
}, 60_000);

const foldersOf = (base: string) => ({ day: '', copy: '', delivery: join(base, 'delivery'), work: '' });

const verdictOf = (base: string): object =>
  JSON.parse(readFileSync(join(base, 'delivery/day-01/A001/roll.json'), 'utf8')) as object;

test(
  'killed in mid-night, another one that stands by on the machine takes over at once and reads nothing again',
  async () => {
    const base = freshFolder('coordinator');
    const held = heldFfmpeg(base);
    const words = held.words.slice(0, 2);
    const more = await hangingReceiver(base);
    placeRoll(base, join(made, 'A001'), true);
    const first = await startCoordinator({ base, name: 'first', words, more });
    await encoding(foldersOf(base));
    const second = await startCoordinator({ base, name: 'second', words, more });
    await eventually(() => second.of('another coordinator has the delivery').length > 0, 60_000);
    expect(await (await second.get('/ready')).json()).toMatchObject({
      ready: true,
      shows: [{ role: 'standing-by' }],
    });
    expect(second.of('a night begins')).toEqual([]);
    const killed = performance.now();
    first.child.kill('SIGKILL');
    await first.done;
    await eventually(() => second.of('a night begins').length > 0, TAKEN_OVER_MILLISECONDS);
    // The process is seen to be gone: nobody waits for its lease.
    expect(performance.now() - killed).toBeLessThan(LEASE_DEAD_MILLISECONDS / 2);
    held.letGo();
    const decided = await eventually(() => second.of('a roll is decided')[0] ?? false, 90_000);
    expect(decided).toMatchObject({ roll: 'A001', verdict: 'ready' });
    expect(decided.codes).toContain('read-earlier');
    await eventually(() => second.of('a night ends').length > 0, 60_000);
    const text = await second.metrics();
    // Every byte of both copies had been read by the first.
    expect(metricOf(text, 'rushlight_bytes_read_total', { show: SHOW })).toBe(0);
    expect(metricOf(text, 'rushlight_frames_made_total', { show: SHOW })).toBe(24);
    expect(metricOf(text, 'rushlight_findings_total', { show: SHOW, code: 'read-earlier' })).toBe(2);
    expect(metricOf(text, 'rushlight_messages_waiting', {})).toBeGreaterThan(0);
    expect(verdictOf(base)).toMatchObject({ verdict: 'ready' });
    second.child.kill('SIGTERM');
    expect((await second.done).code).toBe(130);
    expect(second.text()).not.toContain('whsec');
    expect(existsSync(join(base, 'delivery', '.rushlight-lease-coordinator-2'))).toBe(false);
  },
  RUNS_MILLISECONDS,
);

test(
  'on another machine it takes over within 75 s of the first one’s power cut, and not before a minute has shown that it is dead',
  async () => {
    const base = freshFolder('coordinator');
    const held = heldFfmpeg(base);
    const words = held.words.slice(0, 2);
    placeRoll(base, join(made, 'A001'), true);
    const first = await startCoordinator({ base, name: 'first', words, machine: 'one' });
    await encoding(foldersOf(base));
    // The work folder is shared, as after a power cut of the one machine: its lease is waited for as well.
    const second = await startCoordinator({ base, name: 'second', words, machine: 'two' });
    await eventually(() => second.of('another coordinator has the delivery').length > 0, 60_000);
    const killed = performance.now();
    first.child.kill('SIGKILL');
    await first.done;
    held.letGo();
    await eventually(() => second.of('a night begins').length > 0, TAKEN_OVER_MILLISECONDS + 15_000);
    const took = performance.now() - killed;
    console.log(`taken over after ${(took / 1_000).toFixed(1)} s`);
    expect(took).toBeLessThan(TAKEN_OVER_MILLISECONDS);
    // A beat of the first may have been seen up to ten seconds before it was killed.
    expect(took).toBeGreaterThan(LEASE_DEAD_MILLISECONDS - 12_000);
    const decided = await eventually(() => second.of('a roll is decided')[0] ?? false, 90_000);
    expect(decided).toMatchObject({ roll: 'A001', verdict: 'ready' });
    // What another machine read is read here.
    expect(decided.codes).not.toContain('read-earlier');
    expect(verdictOf(base)).toMatchObject({ verdict: 'ready' });
  },
  RUNS_MILLISECONDS,
);

test(
  'a shared Redis is killed, started again and wiped in mid-night, and the night ends ready',
  async () => {
    const base = freshFolder('coordinator');
    const held = heldFfmpeg(base);
    const store = await sharedRedis();
    onTestFinished(() => store.stop());
    placeRoll(base, join(made, 'A001'), true);
    const words = [...held.words.slice(0, 2), '--queue', store.url];
    const one = await startCoordinator({ base, name: 'first', words });
    await encoding(foldersOf(base));
    await store.killAndStartAgain();
    expect(await store.ask('DBSIZE')).toBeGreaterThan(0);
    await store.ask('FLUSHALL');
    expect(await store.ask('DBSIZE')).toBeLessThan(5);
    held.letGo();
    const decided = await eventually(() => one.of('a roll is decided')[0] ?? false, 120_000);
    expect(decided).toMatchObject({ roll: 'A001', verdict: 'ready' });
    await eventually(() => one.of('a night ends').length > 0, 60_000);
    expect(verdictOf(base)).toMatchObject({ verdict: 'ready' });
    // It stands on, with the same store.
    expect((await one.get('/ready')).status).toBe(200);
  },
  RUNS_MILLISECONDS,
);
