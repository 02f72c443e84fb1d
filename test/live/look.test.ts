/** From records on disk to what is seen of a run: begun, at work, killed, ended, and never an older run's word for this one's. */
import { mkdirSync, rmSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { type Watched, type WhatToWatch, watchRecords } from '../../coordinator/live/look.ts';
import { acquireLock } from '../../coordinator/store/lock.ts';
import { writeNight, type NightRecord } from '../../handover/night.ts';
import { pageLayout } from '../../handover/layout.ts';
import { layout } from '../../ledger/layout.ts';
import { type KeptLease, startLeaseKeeper } from '../../ledger/lease-keeper.ts';
import { freshFolder } from '../support/folder.ts';
import { checksumDiffers } from '../support/mornings.ts';
import { nightRecord, progressRecord, rollRecord } from '../support/live.ts';

let folder: string;
let keeper: ReturnType<typeof startLeaseKeeper>;
let lock: KeptLease | undefined;
beforeEach(() => {
  folder = freshFolder('look');
  keeper = startLeaseKeeper();
  mkdirSync(delivery());
});
afterEach(async () => {
  await lock?.release();
  lock = undefined;
  await keeper.close();
});
const work = (): string => join(folder, 'work');
const delivery = (): string => join(folder, 'proxies');
const watch = (over: Partial<WhatToWatch> = {}): Watched =>
  watchRecords({ work: work(), delivery: delivery(), day: null, awaited: false, ...over });

async function begin(run: string): Promise<void> {
  lock = await acquireLock({ workFolder: work(), run, keeper, lost: () => undefined });
}
async function endRun(): Promise<void> {
  await lock?.release();
  lock = undefined;
}
const writeProgress = (over: Parameters<typeof progressRecord>[0] = {}): void => {
  writeFileSync(
    join(work(), 'progress.json'),
    JSON.stringify(progressRecord({ at: new Date().toISOString(), ...over })),
  );
};
const night = (over: Partial<NightRecord> = {}): Promise<void> =>
  writeNight(layout.dayFolder(delivery(), 'day-07'), nightRecord(over));
const stateOf = async (watched: Watched): Promise<string> => (await watched.look()).state;

test('a whole night, from nothing to its end', async () => {
  const watched = watch();
  expect(await stateOf(watched)).toBe('none');
  await begin('r1');
  expect(await stateOf(watched)).toBe('beginning');
  await night({ ended: null });
  writeProgress({ rolls: [rollRecord('A001', 'making'), rollRecord('A002', 'held')] });
  const seen = await watched.look();
  expect(seen).toMatchObject({ state: 'running', day: 'day-07', pid: process.pid, morning: null });
  expect(seen.ageSeconds).toBeLessThan(10);
  // The run takes its record away, and then its lock.
  const page = pageLayout.page(layout.dayFolder(delivery(), 'day-07'));
  writeFileSync(page, '<!doctype html>');
  await night({ rolls: [{ roll: 'A001', verdict: 'ready', recorded: true, findings: [] }] });
  rmSync(join(work(), 'progress.json'));
  expect(await watched.look()).toMatchObject({ state: 'ended', record: null, morning: page });
  await endRun();
  expect(await watched.look()).toMatchObject({ state: 'ended', timeZone: 'Europe/Berlin', pid: null });
});

test('what a killed run left is not taken for the next one', async () => {
  mkdirSync(work());
  writeProgress({ run: 'r1', rolls: [rollRecord('A001', 'making')] });
  await night({ run: 'r1', ended: null });
  const watched = watch();
  // Nobody is at work, and it did not end.
  expect(await watched.look()).toMatchObject({ state: 'stopped', record: { run: 'r1' } });
  await begin('r2');
  expect(await watched.look()).toMatchObject({ state: 'beginning', record: null, night: null });
  writeProgress({ run: 'r2', rolls: [rollRecord('A001', 'reading')] });
  expect(await watched.look()).toMatchObject({ state: 'running', record: { run: 'r2' } });
});

test('a run that is awaited is not the one that ended yesterday', async () => {
  await night({ run: 'r0' });
  expect(await stateOf(watch())).toBe('ended');
  const watched = watch({ day: 'day-07', awaited: true });
  expect(await stateOf(watched)).toBe('beginning');
  await begin('r1');
  expect(await stateOf(watched)).toBe('beginning');
  // It was refused, and never wrote anything.
  await endRun();
  expect(await watched.look()).toMatchObject({ state: 'stopped', night: null });
});

test('an interrupted night says so', async () => {
  await night({ interrupted: true });
  expect(await stateOf(watch({ day: 'day-07' }))).toBe('interrupted');
});

test('held rolls bring their findings: from their own record, and where they left none, from that of the night', async () => {
  const verdict = layout.verdict(layout.rollFolder(delivery(), 'day-07', 'A002'));
  mkdirSync(dirname(verdict), { recursive: true });
  writeFileSync(verdict, '{ torn');
  await night({
    rolls: [
      { roll: 'A001', verdict: 'held', recorded: false, findings: [checksumDiffers('A001')] },
      { roll: 'A002', verdict: 'held', recorded: true, findings: [] },
    ],
    findings: [{ code: 'run-interrupted', found: 'an interrupt', expected: 'a run to its end' }],
  });
  const { held } = await watch({ day: 'day-07' }).look();
  expect(held.map(({ roll, findings }) => [roll, findings.map(({ code }) => code)])).toEqual([
    [null, ['run-interrupted']],
    ['A001', ['file-checksum-differs']],
    ['A002', ['record-damaged']],
  ]);
});
