/** Which machines of a farm are told as lost: those that vanish without a word, once, and not those that go in order. */
import { expect, test } from 'vitest';
import { watchMachines } from '../../coordinator/night/machines.ts';
import type { Finding } from '../../findings/finding.ts';
import type { MachineRecord } from '../../ledger/farm.ts';
import { freshFolder } from '../support/folder.ts';

const record = (machine: string): MachineRecord => ({
  ...{ version: 0, machine, host: `host-of-${machine}`, workers: 1, slots: 1 },
  classes: [{ queue: 'q', run: 'r', weight: 1, standing: 'fit', findings: [] }],
});

test('a machine that vanishes is told once, one that says that it goes is not, a wiped store is waited for, and a machine that comes back can be lost again', async () => {
  let now = 0;
  let records: MachineRecord[] = [];
  const noted: Finding[] = [];
  const machines = await watchMachines({
    ...{ run: 'r', workFolder: freshFolder('machines'), now: () => now },
    records: async () => records,
    note: (found) => void noted.push(found),
  });
  const look = async (seconds: number, ...there: MachineRecord[]): Promise<string[]> => {
    now += seconds * 1_000;
    records = there;
    await machines.look();
    return noted.splice(0).map(({ code, found }) => `${code} ${found.split(',')[0]}`);
  };
  const [a, b] = [record('a'), record('b')];
  const gone = { ...b, workers: 0, slots: 0, classes: [], left: true as const };
  expect(await look(0, a, b)).toEqual([]);
  // All are away for a moment, and back.
  expect(await look(3)).toEqual([]);
  expect(await look(20, a, b)).toEqual([]);
  expect(await look(60, a, gone)).toEqual([]);
  // Both are away: one of them went in order.
  expect(await look(60)).toEqual([]);
  expect(await look(24)).toEqual([]);
  expect(await look(1)).toEqual(['machine-lost host-of-a']);
  expect(await look(600)).toEqual([]);
  expect(await look(3, a)).toEqual([]);
  expect(await look(3)).toEqual([]);
  expect(await look(25)).toEqual(['machine-lost host-of-a']);
});

test('of a machine that does jobs of other runs too, the part by weight comes to this one; of a run it is unfit for, none goes away', async () => {
  const also = (run: string, weight: number, standing: 'fit' | 'unfit' = 'fit') => ({
    ...{ queue: `q-${run}`, run, weight, standing },
    findings: [],
  });
  const [a, b] = [record('a'), record('b')];
  const records = [
    { ...a, classes: [...a.classes, also('s', 3), also('t', 5, 'unfit')] },
    { ...b, classes: [...b.classes, also('t', 1)] },
    // It does none of ours: who else is there does not matter.
    { ...record('c'), classes: [also('u', 9)] },
  ];
  const machines = await watchMachines({
    ...{ run: 'r', workFolder: freshFolder('machines') },
    records: async () => records,
    note: () => undefined,
  });
  await machines.look();
  expect(machines.making().map(({ id, share }) => [id, share])).toEqual([
    ['a', 1 / 4],
    ['b', 1 / 2],
  ]);
  expect(machines.others()).toBe(2);
});
