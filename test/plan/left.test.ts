/** What of a source's metadata no planned master has a place for: counted in the plan, named in its JSON. */
import { expect, test } from 'vitest';
import { leftOfJobs, leftOfRoll } from '../../coordinator/plan/left.ts';
import { planText } from '../../coordinator/show/plan-text.ts';
import type { Job } from '../../ledger/job.ts';
import { loadProfiles } from '../../profiles/load.ts';
import { decideOutcome } from '../../profiles/outcome/any.ts';
import { workOf } from '../../ledger/job.ts';
import { interpretation } from '../support/master.ts';
import { clip, facts } from '../support/world.ts';

async function jobOf(metadata: Record<string, string>, id = clip.id): Promise<{ job: Job }> {
  const of = { ...facts, metadata, interpretation };
  const { profiles } = await loadProfiles({ wanted: ['grading-master-exr', 'grading-master-4444'] });
  const deliverables = profiles.map(({ profile, hash }) => {
    const decided = decideOutcome({ day: 'day-01', roll: 'A001', clip, facts: of, profile });
    if (decided.outcome === null) throw new Error(JSON.stringify(decided.findings));
    return workOf(profile, hash, decided.outcome);
  });
  return { job: { roll: 'A001', clip: { ...clip, id }, deliverables } as unknown as Job };
}

test('names every one with its reason by clip and profile, and counts a name of a clip once', async () => {
  const jobs = [
    await jobOf({ make: 'Foundry', 'com.apple.quicktime.camera.lens_model': 'Bell 35', bellTone: 'C sharp' }),
    await jobOf({ make: 'Foundry' }, 'A001C002'),
  ];
  const left = leftOfJobs(jobs);
  expect(
    left.map(({ clip: of, profile, left: names }) => [of, profile, names.map(({ name }) => name)]),
  ).toEqual([
    [clip.id, 'grading-master-exr', ['bellTone']],
    [clip.id, 'grading-master-4444', ['bellTone', 'com.apple.quicktime.camera.lens_model']],
  ]);
  for (const { left: names } of left) for (const { why } of names) expect(why).not.toBe('');
  expect(leftOfRoll(jobs)).toEqual({ values: 2, clips: 1 });
  const text = planText(
    {
      planned: 4,
      done: 0,
      withoutRoom: { deliverables: 0, bytes: 0 },
      volumes: [],
      workers: 1,
      seconds: 1,
      masters: { turn: 'with', clips: 0, seconds: 0 },
      ready: {
        timeZone: 'UTC',
        from: '2026-05-03T20:00:00.000Z',
        whole: null,
        proxies: null,
        others: 0,
        rolls: [],
        unknownKinds: [],
      },
    },
    [
      {
        ...{ roll: 'A001', clips: 2, recordings: 0, jobs: 2, deliverables: 4, bytes: 100, sketchBytes: 0 },
        withoutRoom: { deliverables: 0, bytes: 0 },
        bytesRange: { least: 100, most: 100 },
        left: leftOfRoll(jobs),
        shown: [],
        shapes: [],
        cadence: [],
        cut: [],
        sound: [],
        written: [],
      },
    ],
    [],
  );
  expect(text).toContain(', 2 of the metadata of 1 clip without a place in masters (--json names them)');
});
