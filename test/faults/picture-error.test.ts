/** Faults between the sketch of what an encoder is given and the encoder, in one frame and in all: each is done by a program in ffmpeg's place, and held. */
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import type { Job } from '../../ledger/job.ts';
import { makeClip } from '../campaign/material.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { further } from '../support/lane.ts';
import { jobFor } from '../support/work.ts';
import { checkWith } from './check-with.ts';

const profiles = {
  'small-vc3': 'test/fixtures/profiles/small-vc3.yaml',
  'small-h264': 'test/fixtures/profiles/small-h264.yaml',
} as const;
type ProfileName = keyof typeof profiles;

let job: Job;
beforeAll(async () => {
  const clip = await makeClip(join(sharedFolder, 'campaign'), { picture: 'zoom', form: 'film', take: 0 });
  job = await jobFor(clip, join(sharedFolder, 'picture-error-jobs'), Object.values(profiles));
});

const only = (name: ProfileName): Job => ({
  ...job,
  deliverables: job.deliverables.filter(({ profile }) => profile.name === name),
});

/** Codes of the check's own findings. */
async function found(profile: ProfileName, filters: string): Promise<string[]> {
  const { checked } = await checkWith(
    only(profile),
    { do: 'filter', stage: 'encoder', profile, filters, retag: true },
    join(freshFolder('picture-error'), 'case'),
  );
  const codes = checked[profile]?.findings.map(({ code }) => code) ?? [];
  return codes.filter((code) => code.startsWith('picture-error'));
}

test('an intact encoder: no alarm, and the report has worst frame, middle and curve of every plane', async () => {
  const { checked, made } = await checkWith(job, { do: 'none' }, join(freshFolder('picture-error'), 'case'));
  for (const name of Object.keys(profiles)) {
    const report = checked[name];
    expect(report?.findings).toEqual([]);
    expect(report?.passed).toBe(true);
    const planes = report?.results.find(({ check }) => check === 'picture-error')?.pictureError?.planes;
    expect(planes?.map(({ plane }) => plane)).toEqual(["Y'", 'Cb', 'Cr']);
    for (const { worst, median, curve, frame, timecode } of planes ?? []) {
      expect(worst).toBeLessThanOrEqual(median);
      expect(Math.min(...curve)).toBe(worst);
      expect(curve).toHaveLength(48);
      // 01:00:00:00 and 24 frames a second.
      expect(timecode).toBe(
        `01:00:0${Math.floor(frame / 24)}:${String(frame % 24).padStart(2, '0')}`,
      );
    }
  }
  // x264 states what it lost of all frames; VC-3's encoder states nothing.
  expect(made.sketches.map((sketch) => sketch?.stated?.length ?? null)).toEqual([null, 3]);
});
