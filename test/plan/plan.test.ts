/** The plan of a night, from facts alone. */
import { beforeAll, describe, expect, test } from 'vitest';
import { planNight, type PlanRequest, type RollToPlan } from '../../coordinator/plan/index.ts';
import { secondsOf } from '../../coordinator/plan/time.ts';
import { finding } from '../../findings/finding.ts';
import { jobSchema } from '../../ledger/job.ts';
import type { LoadedProfile } from '../../profiles/schema.ts';
import { loadProfiles } from '../../profiles/load.ts';
import { clipFacts, clipNamed } from '../support/facts.ts';
import { interpretation } from '../support/master.ts';

let vc3: LoadedProfile;
let review: LoadedProfile;
let exr: LoadedProfile;
beforeAll(async () => {
  const wanted = ['editorial-vc3', 'review-h264', 'grading-master-exr'];
  [vc3, review, exr] = (await loadProfiles({ wanted })).profiles as [
    LoadedProfile,
    LoadedProfile,
    LoadedProfile,
  ];
});

type ClipInput = RollToPlan['clips'][number];
const clip = (name: string, over: Parameters<typeof clipFacts>[0] = {}, id = name): ClipInput => ({
  clip: clipNamed(name, id),
  facts: clipFacts(over),
  findings: [],
  due: ['editorial-vc3', 'review-h264'],
});

function roll(name: string, clips: readonly ClipInput[], over: Partial<RollToPlan> = {}): RollToPlan {
  return {
    roll: name,
    folder: `/rolls/${name}`,
    deliveryFolder: `/delivery/day-02/${name}`,
    volume: 'delivery',
    findings: [],
    clips,
    ...over,
  };
}
function request(rolls: readonly RollToPlan[], over: Partial<PlanRequest> = {}): PlanRequest {
  return {
    night: 'n1',
    run: 'r1',
    day: 'day-02',
    rolls,
    profiles: [vc3, review],
    toolchain: 't'.repeat(64),
    isDone: () => false,
    volumes: [{ name: 'delivery', freeBytes: 10 ** 12, freeFiles: 10 ** 6 }],
    ...over,
  };
}
const codes = (
  findings: readonly {
    code: string;
    clip?: string | undefined;
    roll?: string | undefined;
    profile?: string | undefined;
  }[],
): string[] =>
  findings.map((item) =>
    [item.code, item.roll, item.clip, item.profile].filter((part) => part !== undefined).join(' '),
  );

describe('jobs', () => {
  test('all profiles of a clip are one job over the whole clip, which the ledger takes as it is', () => {
    const plan = planNight(request([roll('A001', [clip('bell-01')])]));
    expect(plan.refusals).toEqual([]);
    expect(plan.jobs).toHaveLength(1);
    const job = plan.jobs[0]?.job;
    expect(jobSchema.parse(job)).toEqual(job);
    expect(job).toMatchObject({
      night: 'n1',
      run: 'r1',
      day: 'day-02',
      roll: 'A001',
      rollFolder: '/rolls/A001',
      deliveryFolder: '/delivery/day-02/A001',
      span: { start: 0, count: 48 },
    });
    expect(job?.deliverables.map((item) => [item.profile.name, item.profileHash])).toEqual([
      ['editorial-vc3', vc3.hash],
      ['review-h264', review.hash],
    ]);
  });

  test('they come by roll and clip whatever the order of the input, and the first has priority 1', () => {
    const plan = planNight(
      request([roll('B001', [clip('z'), clip('c10'), clip('c2')]), roll('A002', [clip('k')])]),
    );
    expect(plan.jobs.map(({ job, priority }) => [priority, job.roll, job.clip.id])).toEqual([
      [1, 'A002', 'k'],
      [2, 'B001', 'c10'],
      [3, 'B001', 'c2'],
      [4, 'B001', 'z'],
    ]);
  });

  test('what is finished is not made again: only the rest of a clip is in its job', () => {
    const plan = planNight(
      request([roll('A001', [clip('bell-01'), clip('bell-02')])], {
        isDone: ({ clip: { id }, profile }) => id === 'bell-01' || profile.hash === review.hash,
      }),
    );
    expect(
      plan.jobs.map(({ job }) => [job.clip.id, job.deliverables.map((item) => item.profile.name)]),
    ).toEqual([['bell-02', ['editorial-vc3']]]);
    expect({ done: plan.done, planned: plan.planned }).toEqual({ done: 3, planned: 1 });
  });

  test('equal requests give equal plans', () => {
    const one = request([roll('A001', [clip('bell-01'), clip('bell-02')]), roll('B001', [clip('anvil')])]);
    expect(planNight(one)).toEqual(planNight({ ...one, rolls: [...one.rolls].reverse() }));
  });
});

describe('what is left out', () => {
  test('a roll that intake holds and a clip that survey holds are not planned, and nothing is said twice', () => {
    const held = roll('A001', [clip('bell-01')], {
      findings: [finding('manifest-missing', 'none', 'one', { roll: 'A001' })],
    });
    const bad: ClipInput = {
      ...clip('bell-02'),
      findings: [finding('clip-no-index', 'none', 'an index', { clip: 'bell-02' })],
    };
    const unmeasured: ClipInput = {
      clip: clipNamed('bell-03'),
      facts: null,
      findings: [],
      due: ['editorial-vc3'],
    };
    const plan = planNight(request([held, roll('B001', [bad, unmeasured, clip('bell-04')])]));
    expect(plan.jobs.map(({ job }) => job.clip.id)).toEqual(['bell-04']);
    expect(plan.refusals).toEqual([]);
  });

  test('a note of the survey holds nothing back', () => {
    const noted: ClipInput = {
      ...clip('bell-02'),
      findings: [finding('timecode-assumed', 'none', 'one', { clip: 'bell-02' })],
    };
    expect(planNight(request([roll('B001', [noted])])).jobs).toHaveLength(1);
  });

  test('a profile that refuses a clip says why, and the other profile is made', () => {
    const plan = planNight(request([roll('A001', [clip('bell-01', { timecode: null })])]));
    expect(codes(plan.refusals)).toEqual(['timecode-missing A001 bell-01 editorial-vc3']);
    expect(plan.jobs.map(({ job }) => job.deliverables.map((item) => item.profile.name))).toEqual([
      ['review-h264'],
    ]);
    expect(codes(plan.notes)).toEqual(['timecode-assumed A001 bell-01 review-h264']);
  });
});

describe('masters after proxies', () => {
  const due = ['editorial-vc3', 'review-h264', 'grading-master-exr'];
  const asked = (names: readonly string[], over: Partial<PlanRequest> = {}): PlanRequest =>
    request(
      [
        roll('A001', [
          { ...clip('bell-01', { interpretation }), due: names, stills: { count: 2, width: 960, bits: 8 } },
        ]),
      ],
      {
        profiles: [vc3, review, exr],
        masters: 'after',
        ...over,
      },
    );
  const made = (jobs: ReturnType<typeof planNight>['jobs']) =>
    jobs.map(({ job }) => [
      job.wave,
      job.deliverables.map(({ profile }) => profile.name).join(' '),
      job.stills === undefined ? 'no stills' : 'stills',
    ]);

  test('two jobs of a clip, the stills with the proxies, and both of all that one would be', () => {
    const plan = planNight(asked(due));
    expect(made(plan.jobs)).toEqual([
      ['proxies', 'editorial-vc3 review-h264', 'stills'],
      ['masters', 'grading-master-exr', 'no stills'],
    ]);
    for (const { job } of plan.jobs) expect(jobSchema.parse(job)).toEqual(job);
    const one = planNight(asked(due, { masters: 'with' }));
    expect(one.jobs.map(({ job }) => [job.wave, job.deliverables.length])).toEqual([[undefined, 3]]);
    expect(plan.planned).toBe(one.planned);
    expect(plan.jobs.flatMap(({ job }) => job.deliverables)).toEqual(one.jobs[0]?.job.deliverables);
    expect(plan.jobs.reduce((sum, { bytes }) => sum + bytes, 0)).toBe(one.jobs[0]?.bytes);
  });

  test('what it costs is the same whether it is done or only asked about: the second decode', () => {
    const [after, before] = [planNight(asked(due)), planNight(asked(due, { masters: 'with' }))];
    const sum = (plan: typeof after): number => plan.jobs.reduce((all, { seconds }) => all + seconds, 0);
    expect(after.secondDecodes).toEqual(before.secondDecodes);
    expect(after.secondDecodes.clips).toBe(1);
    expect(sum(after) - sum(before)).toBeCloseTo(after.secondDecodes.seconds, 9);
    // 48 frames of 1920x1080 are 99.5 megapixels.
    expect(after.secondDecodes.seconds).toBeGreaterThan(99.5 / 400);
  });

  test.each([
    ['proxies alone', ['editorial-vc3'], [['proxies', 'editorial-vc3', 'stills']]],
    ['masters alone', ['grading-master-exr'], [['masters', 'grading-master-exr', 'stills']]],
  ])('%s: one job, and no second decode', (_, names, expected) => {
    const plan = planNight(asked(names));
    expect(made(plan.jobs)).toEqual(expected);
    expect(plan.secondDecodes).toEqual({ clips: 0, seconds: 0 });
  });

  test('what is finished is decoded by nobody', () => {
    const plan = planNight(asked(due, { isDone: ({ profile }) => profile.profile.kind === 'movie' }));
    expect(made(plan.jobs)).toEqual([['masters', 'grading-master-exr', 'stills']]);
    const stills = planNight(asked(due, { isDone: () => true }));
    expect(made(stills.jobs)).toEqual([['proxies', '', 'stills']]);
  });
});

describe('names that meet', () => {
  test.each([
    ['the same name in two folders', 'same', 'same'],
    ['names that differ in case', 'Bell', 'bELL'],
    ['one accent spelt in two ways', 'f\u00eate', 'fe\u0302te'],
    ['characters that cannot be written', 'take:1', 'take?1'],
  ])('%s: both clips are refused, neither is made, the third is', (_title, one, other) => {
    const plan = planNight(
      request([roll('A001', [clip(one, {}, 'id-1'), clip(other, {}, 'id-2'), clip('third')])], {
        profiles: [vc3],
      }),
    );
    expect(codes(plan.refusals)).toEqual([
      'name-collision A001 id-1 editorial-vc3',
      'name-collision A001 id-2 editorial-vc3',
    ]);
    expect(plan.jobs.map(({ job }) => job.clip.id)).toEqual(['third']);
  });

  test('a finished deliverable keeps its name: the newcomer is refused', () => {
    const plan = planNight(
      request([roll('A001', [clip('same', {}, 'id-1'), clip('same', {}, 'id-2')])], {
        profiles: [vc3],
        isDone: (item) => item.clip.id === 'id-1',
      }),
    );
    expect(codes(plan.refusals)).toContain('name-collision A001 id-2 editorial-vc3');
    expect(plan.jobs).toEqual([]);
  });

  test('equal names in two rolls do not meet', () => {
    expect(planNight(request([roll('A001', [clip('same')]), roll('B001', [clip('same')])])).refusals).toEqual(
      [],
    );
  });

  test('rolls whose folders would be one are both refused', () => {
    const plan = planNight(
      request([roll('A001', [clip('x')]), roll('a001', [clip('y')]), roll('B001', [clip('z')])]),
    );
    expect(codes(plan.refusals).sort()).toEqual(['name-collision A001', 'name-collision a001']);
    expect(plan.jobs.map(({ job }) => job.roll)).toEqual(['B001']);
  });
});

describe('room on the target', () => {
  test('bytes of VC-3 are exact: 48 frames of 188 416 bytes (ST 2019-1), 96 096 samples of 2 x 3 bytes, a sketch of 11 520 bytes a frame, and a little around them', () => {
    const plan = planNight(request([roll('A001', [clip('bell-01')])], { profiles: [vc3] }));
    const essence = 48 * (188_416 + 11_520) + 96_096 * 6;
    expect(plan.volumes[0]?.bytes).toBeGreaterThan(essence);
    expect(plan.volumes[0]?.bytes).toBeLessThan(essence * 1.02);
  });

  test('a roll that does not fit is refused whole, and a smaller one after it is planned', () => {
    const plan = planNight(
      request(
        [
          roll('A001', [clip('x', { video: { frames: 480 }, audio: [] }), clip('y', { audio: [] })]),
          roll('B001', [clip('z', { audio: [] })]),
        ],
        { profiles: [vc3], volumes: [{ name: 'delivery', freeBytes: 40_000_000, freeFiles: null }] },
      ),
    );
    expect(codes(plan.refusals)).toEqual(['target-short A001']);
    expect(plan.jobs.map(({ job }) => job.clip.id)).toEqual(['z']);
  });

  test('a tenth is kept to spare', () => {
    const one = request([roll('A001', [clip('bell-01')])]);
    const bytes = planNight(one).volumes[0]?.bytes ?? 0;
    const at = (freeBytes: number): number =>
      planNight({ ...one, volumes: [{ name: 'delivery', freeBytes, freeFiles: null }] }).jobs.length;
    expect(at(Math.ceil(bytes * 1.1) + 1)).toBe(1);
    expect(at(Math.floor(bytes * 1.1) - 1)).toBe(0);
  });

  test('room for files counts as room for bytes does', () => {
    const one = request([roll('A001', [clip('bell-01'), clip('bell-02')])]);
    // Two clips in two profiles: 4 deliverables, 4 reports of them, 2 of the clips, roll.json and the folders.
    expect(
      planNight({ ...one, volumes: [{ name: 'delivery', freeBytes: null, freeFiles: 9 }] }).refusals.map(
        (item) => item.code,
      ),
    ).toEqual(['target-short']);
    expect(
      planNight({ ...one, volumes: [{ name: 'delivery', freeBytes: null, freeFiles: 100 }] }).refusals,
    ).toEqual([]);
  });

  test('what is finished needs no room', () => {
    const plan = planNight(
      request([roll('A001', [clip('bell-01')])], {
        isDone: () => true,
        volumes: [{ name: 'delivery', freeBytes: 0, freeFiles: 0 }],
      }),
    );
    expect({ refusals: plan.refusals, done: plan.done, bytes: plan.volumes[0]?.bytes }).toEqual({
      refusals: [],
      done: 2,
      bytes: 0,
    });
  });

  test('each volume has its own room', () => {
    const plan = planNight(
      request([roll('A001', [clip('x')], { volume: 'small' }), roll('B001', [clip('y')])], {
        volumes: [
          { name: 'small', freeBytes: 1, freeFiles: null },
          { name: 'delivery', freeBytes: 10 ** 10, freeFiles: null },
        ],
      }),
    );
    expect(plan.jobs.map(({ job }) => job.roll)).toEqual(['B001']);
  });
});

describe('time', () => {
  test('two workers need half the time of one for even jobs, and never less than the longest job', () => {
    const clips = Array.from({ length: 8 }, (_, index) =>
      clip(`c${index}`, { video: { frames: 2_400 }, audio: [] }),
    );
    const seconds = (workers: number): number =>
      secondsOf(planNight(request([roll('A001', clips)])).jobs, workers);
    expect(Math.abs(seconds(2) * 2 - seconds(1))).toBeLessThanOrEqual(2);
    expect(seconds(100)).toBe(seconds(8));
  });
});

test('a clip that is cut has room for its segments and for what is joined from them', () => {
  const rolls = [roll('A001', [clip('bell-01'), clip('bell-02')])];
  const whole = planNight(request(rolls));
  const cut = planNight(request(rolls, { segmentsFor: ({ job }) => (job.clip.id === 'bell-01' ? 4 : 1) }));
  expect(cut.jobs.map(({ segments }) => segments)).toEqual([4, 1]);
  const more = (cut.volumes[0]?.bytes ?? 0) - (whole.volumes[0]?.bytes ?? 0);
  expect(more).toBe(whole.jobs[0]?.bytes);
  expect(more).toBeGreaterThan(0);
});
