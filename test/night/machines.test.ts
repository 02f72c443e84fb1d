/** Which machines of a farm are told as lost: those that vanish without a word, once, and not those that go in order. */
import { expect, test } from 'vitest';
import { watchMachines } from '../../coordinator/night/machines.ts';
import type { Finding } from '../../findings/finding.ts';
import type { MachineRecord } from '../../ledger/farm.ts';
import { freshFolder } from '../support/folder.ts';

const record = (machine: string): MachineRecord => ({
  ...{ version: 0, machine, host: `host-of-${machine}`, workers: 1, slots: 1 },
  classes: [{ queue: 'q', run: 'r', standing: 'fit', findings: [] }],
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
