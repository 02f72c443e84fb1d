/** Values that the way to the encoder had to limit are counted, and said. */
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { statusText } from '../../coordinator/show/status-text.ts';
import type { Finding } from '../../findings/finding.ts';
import { layout } from '../../ledger/layout.ts';
import { deliverableReportSchema } from '../../ledger/report.ts';
import { readRecord } from '../../ledger/store.ts';
import { runJob } from '../../worker/job.ts';
import { freshFolder } from '../support/folder.ts';
import { makeMovie } from '../support/media.ts';
import { jobFor, workContext } from '../support/work.ts';

/** Of the clip's only deliverable: how much was limited by its check, and the notes. */
async function limitedIn(
  luma: string,
  profile: string,
): Promise<{ readonly text: string; readonly notes: readonly Finding[] }> {
  const folder = freshFolder('limited');
  const path = await makeMovie(join(folder, 'day', 'A001', 'A001C001.mov'), {
    codec: 'prores',
    size: '384x216',
    frames: 12,
    // The last filter chain is the one that counts.
    extra: [
      '-vf',
      `trim=end_frame=12,format=yuv422p10le,geq=lum='4*(${luma})':cb=512:cr=512,setparams=color_primaries=bt709:color_trc=bt709:colorspace=bt709:range=tv`,
    ],
  });
  const job = await jobFor(path, folder, [profile]);
  await runJob(job, await workContext());
  const [deliverable] = job.deliverables;
  const read = await readRecord(
    layout.deliverableReport(job.deliveryFolder, job.clip.id, deliverable?.profile.name ?? ''),
    deliverableReportSchema,
  );
  if (read.state !== 'read') throw new Error(`no report: ${read.state}`);
  expect(read.value.state).toBe('published');
  const text = read.value.checks.find(({ check }) => check === 'encoder-input')?.measured ?? '';
  return { text, notes: read.value.findings.filter(({ code }) => code === 'encoder-input-limited') };
}

test('codes below black and above white, into full range', async () => {
  // Luma runs from 0 to 255 of 8 bits across the picture: 16 codes of 256 lie below black, 20 above white.
  const { text, notes } = await limitedIn('255*X/(W-1)', 'test/campaign/profiles/full-vc3.yaml');
  const share = Number(/samples \(([\d.e+-]+) %\)/.exec(text)?.[1]);
  // Half of all samples are luma.
  expect(share).toBeGreaterThan(50 * (36 / 256) * 0.8);
  expect(share).toBeLessThan(50 * (36 / 256) * 1.3);
  expect(notes).toHaveLength(1);
  const line = statusText({
    delivery: '/delivery',
    work: '/work',
    live: null,
    forecast: null,
    atWork: null,
    machines: [],
    rolls: [
      {
        day: 'day',
        roll: 'A001',
        verdict: 'ready',
        decidedAt: null,
        timeZone: null,
        copies: 1,
        clips: 1,
        clipsReady: 1,
        recordings: 0,
        deliverables: { publishing: 0, published: 1, failed: 0 },
        psnr: [],
        findings: notes,
      },
    ],
  });
  expect(line).toContain(
    'note [encoder-input-limited] full-vc3: 1 clip with values beyond what it can hold; A001C001',
  );
});

test('a picture within black and white at its own size: nothing', async () => {
  const { text, notes } = await limitedIn('16+219*X/(W-1)', 'test/fixtures/profiles/small-vc3.yaml');
  expect(text).toContain('no value had to be limited');
  expect(notes).toEqual([]);
});
