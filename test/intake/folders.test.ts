import { mkdirSync, symlinkSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { makeDelivery, nightFolders } from '../../coordinator/roll/folders.ts';
import { FindingError } from '../../findings/finding.ts';
import { freshFolder } from '../support/folder.ts';

test('a day that is named by a link keeps the name that was given', () => {
  const folder = freshFolder('folders');
  mkdirSync(join(folder, 'real'));
  symlinkSync('real', join(folder, 'day-01'));
  const found = nightFolders({ day: join(folder, 'day-01'), copies: [] });
  expect(found).toMatchObject({ day: join(folder, 'real'), dayName: 'day-01' });
});

test.skipIf(process.platform !== 'linux')(
  'a delivery where nothing can be made is not one that is gone',
  () => {
    const codes = (): string[] => {
      try {
        makeDelivery('/proc/delivery');
        return [];
      } catch (error) {
        if (!(error instanceof FindingError)) throw error;
        return error.findings.map(({ code }) => code);
      }
    };
    expect(codes()).toEqual(['delivery-not-made']);
  },
);
