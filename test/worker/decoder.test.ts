/** A worker whose machine has not the decoder that a job was planned with refuses it at once, with a report. */
import { existsSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { loadDecoder } from '../../media/raw/decoders/declared/load.ts';
import { runJob } from '../../worker/job.ts';
import { freshFolder } from '../support/folder.ts';
import { masterJob, rawClip } from '../support/masters.ts';
import { workContext } from '../support/work.ts';

test.each([
  ['is gone', null, 'decoder-program-missing'],
  ['is another', '#!/bin/sh\nexit 0\n', 'decoder-differs'],
])('a program that %s', async (_title, program, code) => {
  const folder = freshFolder('machine');
  writeFileSync(join(folder, 'strips'), '#!/bin/sh\n', { mode: 0o755 });
  writeFileSync(
    join(folder, 'strips.yaml'),
    "version: 1\nname: strips\nsummary: a test\ntakes: { clips: frames, names: ['*.dng'] }\ncommand: [./strips, '{file}']\ngives: { samples: cfa16le }\n",
  );
  const loaded = await loadDecoder(join(folder, 'strips.yaml'));
  if ('findings' in loaded) throw new Error(JSON.stringify(loaded.findings));
  const { declared, origin, version } = loaded.decoder;
  const clip = await rawClip(freshFolder('roll'), { width: 64, height: 48, frames: 2 });
  if (clip.facts.raw === undefined) throw new Error('no raw facts');
  const facts = {
    ...clip.facts,
    raw: {
      ...clip.facts.raw,
      decoder: {
        name: 'strips',
        version,
        declaration: {
          declared,
          origin: program === null ? join(folder, 'elsewhere', 'strips.yaml') : origin,
          version,
        },
      },
    },
  };
  if (program !== null) writeFileSync(join(folder, 'strips'), program);
  const job = await masterJob({ ...clip, facts }, freshFolder('delivery'), ['grading-master-exr']);
  await expect(runJob(job, await workContext())).rejects.toMatchObject({
    retryable: false,
    findings: [{ code }],
  });
  expect(
    existsSync(join(job.deliveryFolder, 'reports', 'deliverables', 'A001C001.grading-master-exr.json')),
  ).toBe(true);
  expect(existsSync(join(job.deliveryFolder, 'grading-master-exr', 'A001C001'))).toBe(false);
});
