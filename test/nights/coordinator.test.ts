/**
 * A standing coordinator as its user runs it: a roll that is still being copied is left alone, then made; a receiver that hangs holds
 * up nothing; metrics are read by a parser that is not ours. What ends coordinators and Redis in mid-night is in the long lane.
 */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, expect, test } from 'vitest';
import { hangingReceiver, metricOf, placeRoll, SHOW, startCoordinator } from '../support/coordinator.ts';
import { makeDay, writeMd5Manifest } from '../support/day.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { belongings, makeFolderOfOthers, otherGroup } from '../support/groups.ts';
import { RUNS_MILLISECONDS } from '../support/night.ts';
import { eventually } from '../support/processes.ts';

const made = join(sharedFolder, 'coordinator', 'day-01');

beforeAll(async () => {
  await makeDay(made, { A001: { 'A001C001.mov': { frames: 6, size: '256x144' } } });
}, 60_000);

test(
  'it waits for a manifest to be whole and makes the night, which belongs to the group of the delivery',
  async () => {
    const base = freshFolder('coordinator');
    makeFolderOfOthers(join(base, 'delivery'), 0o2775);
    const roll = placeRoll(base, join(made, 'A001'), false);
    const one = await startCoordinator({ base, name: 'first', more: await hangingReceiver(base) });
    await eventually(
      async () =>
        metricOf(await one.metrics(), 'rushlight_rolls_waiting', { show: SHOW, state: 'incomplete' }) === 1,
      60_000,
    );
    expect(one.of('a night begins')).toEqual([]);
    const [waits, ...again] = one.of('a roll waits: it is not complete');
    expect(waits).toMatchObject({ roll: 'A001', lacks: [{ code: 'manifest-unreadable' }], more: 0 });
    expect(again).toEqual([]);
    expect((await one.get('/health')).status).toBe(200);
    writeMd5Manifest(roll);
    const decided = await eventually(() => one.of('a roll is decided')[0] ?? false, 90_000);
    expect(decided).toMatchObject({ roll: 'A001', verdict: 'ready' });
    expect(decided.codes).not.toContain('read-earlier');
    await eventually(() => one.of('a night ends').length > 0, 60_000);
    const metrics = await one.get('/metrics');
    expect(metrics.headers.get('content-type')).toContain('text/plain; version=0.0.4');
    const text = await metrics.text();
    expect(metricOf(text, 'rushlight_frames_made_total', { show: SHOW })).toBe(6);
    expect(metricOf(text, 'rushlight_rolls_decided_total', { show: SHOW, verdict: 'ready' })).toBe(1);
    expect(metricOf(text, 'rushlight_coordinator_role', { show: SHOW, role: 'at-work' })).toBe(1);
    // The receiver has not answered once, and everything is ready.
    expect(metricOf(text, 'rushlight_messages_waiting', {})).toBeGreaterThan(0);
    const day = join(base, 'delivery', 'day-01');
    expect(JSON.parse(readFileSync(join(day, 'A001', 'roll.json'), 'utf8'))).toMatchObject({
      verdict: 'ready',
    });
    const found = belongings(day);
    expect(found.filter(({ path }) => path.endsWith('.mxf') || path.endsWith('.mov'))).toHaveLength(1);
    expect(
      found.filter(({ gid, mode, isFolder }) => gid !== otherGroup || mode !== (isFolder ? 0o2775 : 0o664)),
    ).toEqual([]);
    one.child.kill('SIGTERM');
    expect((await one.done).code).toBe(130);
    expect(one.text()).not.toContain('whsec');
  },
  RUNS_MILLISECONDS,
);
