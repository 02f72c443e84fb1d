/** A night that cuts its clip, as its user runs it: two workers make segments, and what is joined is what one worker makes. */
import { cpSync, existsSync, mkdtempSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { commandProcess } from '../support/cli.ts';
import { makeDay } from '../support/day.ts';
import { sharedFolder } from '../support/folder.ts';
import { essence, resultOf, runWords } from '../support/night.ts';

const command = commandProcess();

test('two workers, a source of open groups: the same bytes, a verdict that an audit upholds, and nothing left behind', async () => {
  const base = mkdtempSync(join(sharedFolder, 'segments-night-'));
  const day = await makeDay(join(base, 'day-03'), {
    A001: {
      'A001C001.mov': {
        frames: 144,
        codec: 'h264',
        extra: ['-x264-params', 'open-gop=1:keyint=12:min-keyint=12:bframes=3:b-adapt=0:scenecut=0'],
      },
    },
  });
  const [whole, cut] = [join(base, 'whole'), join(base, 'cut')] as const;
  for (const [delivery, segments] of [
    [whole, 'never'],
    [cut, '5'],
  ] as const) {
    const words = runWords(
      { day, delivery, work: join(base, `work-${segments}`) },
      ...['--segments', segments, '--workers', '2', '--slots', '1', '--json', '--quiet'],
    );
    const night = await command(words);
    expect([night.code, resultOf(night.stdout).verdict], night.stderr).toEqual([0, 'ready']);
  }
  expect(essence(cut)).toEqual(essence(whole));
  expect(existsSync(join(cut, 'day-03', 'A001', 'reports', '.rushlight-jobs'))).toBe(false);
  const elsewhere = join(base, 'elsewhere');
  cpSync(cut, elsewhere, { recursive: true });
  expect((await command(['audit', elsewhere, '--json', '--quiet'])).code).toBe(0);
}, 600_000);
