/** What jobs are about lies on the delivery while a roll is made: altered there in mid-night, nothing is made of it, and the run writes it anew. */
import { existsSync, readdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, onTestFinished, test } from 'vitest';
import { layout } from '../../ledger/layout.ts';
import { copyDay, makeDay } from '../support/day.ts';
import { freshFolder } from '../support/folder.ts';
import { encoding, heldFfmpeg, resultOf, RUNS_MILLISECONDS, startNight } from '../support/night.ts';

test(
  'of a job whose parts were altered after it was queued nothing is made until the run has written them anew, which it says',
  async () => {
    const root = freshFolder('altered');
    const day = await makeDay(join(root, 'day-03'), {
      A001: { 'A001C001.mov': { frames: 12 }, 'A001C002.mov': { frames: 12 } },
    });
    const copy = copyDay(day, join(root, 'copy', 'day-03'));
    const folders = { day, copy, delivery: join(root, 'delivery'), work: join(root, 'work') };
    const { words, letGo } = heldFfmpeg(root);
    const night = startNight(folders, ...words, '--workers', '1');
    onTestFinished(() => void night.child.kill('SIGKILL'));
    await encoding(folders);
    const roll = layout.rollFolder(folders.delivery, 'day-03', 'A001');
    const parts = layout.jobPartsFolder(roll);
    // The first clip was begun and has read its own.
    for (const name of readdirSync(parts)) writeFileSync(join(parts, name), '{}');
    letGo();
    const ended = await night.done;
    expect(ended.code, ended.stderr).toBe(0);
    const { findings, rolls } = resultOf(ended.stdout);
    expect(findings.map(({ code, clip }) => [code, clip])).toContainEqual(['job-part-mended', 'A001C002']);
    expect(rolls[0]?.verdict).toBe('ready');
    for (const clip of ['A001C001', 'A001C002'])
      expect(existsSync(layout.deliverableReport(roll, clip, 'small-vc3'))).toBe(true);
    expect(existsSync(parts)).toBe(false);
  },
  RUNS_MILLISECONDS,
);
