/** docs/campaign.md says what is promised to be found: as the campaign itself has it. */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { packageFolder } from '../../files/installation.ts';
import { type Coding, claims, graded, gradedNames } from '../faults/graded.ts';

const codings: readonly Coding[] = ['vc3', 'rdd36', 'h264'];
const said = (value: number | null): string => (value === null ? '–' : String(value));

test('every fault that comes in sizes has its row of limits', () => {
  const page = readFileSync(join(packageFolder, 'docs', 'campaign.md'), 'utf8');
  const rows = gradedNames.map((name) =>
    ['', name, graded[name].unit, ...codings.map((coding) => claims[name][coding].map(said).join(' / ')), '']
      .join(' | ')
      .trim(),
  );
  expect(page.split('\n').filter((line) => rows.includes(line))).toEqual(rows);
});

test('every limit is a strength that is drawn', () => {
  for (const name of gradedNames)
    for (const coding of codings)
      for (const least of claims[name][coding])
        expect(least === null || (graded[name].strengths as readonly number[]).includes(least)).toBe(true);
});
