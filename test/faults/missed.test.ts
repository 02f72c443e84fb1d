/** Faults that a campaign once found unnoticed, audio clips that it found held, and what the gate says of each now. Clips and places are those of the campaign's case. */
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import type { Job } from '../../ledger/job.ts';
import { layout } from '../../ledger/layout.ts';
import { type CheckResult, deliverableReportSchema } from '../../ledger/report.ts';
import { readRecord } from '../../ledger/store.ts';
import { type ClipName, type FormName, makeClip, type PictureName } from '../campaign/material.ts';
import { type CaseResult, runCase } from '../campaign/run-case.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { everyRow, further } from '../support/lane.ts';
import { jobFor } from '../support/work.ts';
import type { Operation } from './operation.ts';

const material = join(sharedFolder, 'campaign');
const profiles = {
  'small-h264': 'test/fixtures/profiles/small-h264.yaml',
  'small-vc3': 'test/fixtures/profiles/small-vc3.yaml',
  'small-rdd36': 'test/campaign/profiles/small-rdd36.yaml',
  'editorial-rdd36': 'editorial-rdd36',
  'filled-h264': 'test/campaign/profiles/filled-h264.yaml',
  'fitted-vc3': 'test/campaign/profiles/fitted-vc3.yaml',
  'full-vc3': 'test/campaign/profiles/full-vc3.yaml',
} as const;
type ProfileName = keyof typeof profiles;

const clip = (picture: PictureName, form: FormName, take = 0): ClipName => ({ picture, form, take });
const otherFields = (form: FormName): Operation => {
  const [from, to] = form === 'fields-top' ? ['tff', 'bff'] : ['bff', 'tff'];
  return { do: 'graph', stage: 'encoder', from: `parity=${from}`, to: `parity=${to}` };
};

interface Judged extends CaseResult {
  /** What the check of the picture's fingerprints wrote down, by profile. */
  readonly fingerprintSets: readonly CheckResult[];
}

async function judged(name: ClipName, wanted: readonly ProfileName[], operation: Operation): Promise<Judged> {
  const job: Job = await jobFor(
    await makeClip(material, name),
    join(sharedFolder, 'missed-jobs'),
    wanted.map((profile) => profiles[profile]),
  );
  const folder = join(freshFolder('missed'), 'case');
  const result = await runCase(job, operation, folder, true);
  const reports = await Promise.all(
    wanted.map((profile) =>
      readRecord(
        layout.deliverableReport(join(folder, 'delivery', job.day, job.roll), job.clip.id, profile),
        deliverableReportSchema,
      ),
    ),
  );
  const fingerprintSets = reports.flatMap((report) =>
    report.state === 'read' ? report.value.checks.filter(({ check }) => check === 'frame-match') : [],
  );
  expect(fingerprintSets).toHaveLength(wanted.length);
  return { ...result, fingerprintSets };
}

describe("one frame is another's, by less than its fingerprint tells: they do not claim it, and the error of the picture holds it", () => {
  test.each<[string, ClipName, ProfileName, number, (otherTake: string) => Operation]>([
    [
      'a small thing in grain lies elsewhere, as in another take',
      clip('small-motion-grain', 'film-two-tracks', 1),
      'small-h264',
      35,
      (otherTake) => ({ do: 'other-clip', stage: 'encoder', profile: 'small-h264', clip: otherTake, at: 35 }),
    ],
    ...further<[string, ClipName, ProfileName, number, (otherTake: string) => Operation]>([
      'scrolling noise is mirrored',
      clip('scrolling-noise', 'drop-frame-60'),
      'filled-h264',
      38,
      () => ({
        do: 'filter',
        stage: 'encoder',
        profile: 'filled-h264',
        filters: "hflip=enable='eq(n,38)'",
        retag: true,
      }),
    ]),
  ])('%s', async (_title, name, profile, frame, operationOf) => {
    const otherTake = await makeClip(material, { ...name, take: 1 - name.take });
    const { done, verdict, codes, fingerprintSets } = await judged(name, [profile], operationOf(otherTake));
    expect([done, verdict]).toEqual([true, 'held']);
    expect(codes).toContain('picture-error-frame');
    const [{ unproven = [], measured }] = fingerprintSets as [CheckResult];
    expect(unproven.filter(([from, to]) => from <= frame && frame <= to)).toHaveLength(1);
    const unproven_ = unproven.reduce((sum, [from, to]) => sum + to - from + 1, 0);
    const [, frames, proved] = /^(\d+) frames: (\d+) proved/.exec(measured) ?? [];
    expect(Number(proved)).toBe(Number(frames) - unproven_);
    expect(measured).toContain(`${unproven_} that cannot be told from their neighbours`);
  });
});

describe('frames of the later field', () => {
  test.each<[string, ClipName, readonly ProfileName[]]>([
    ['a bell that swings slowly, in H.264', clip('bell', 'fields-bottom'), ['small-h264']],
    ...further<[string, ClipName, readonly ProfileName[]]>([
      'the same in another shape',
      clip('bell', 'fields-bottom'),
      ['filled-h264'],
    ]),
  ])('%s: held', async (_title, name, wanted) => {
    const { done, verdict, codes } = await judged(name, wanted, otherFields(name.form));
    expect([done, verdict]).toEqual([true, 'held']);
    expect(codes).toContain('fields-reversed');
  });

  test.each<[string, ClipName, readonly ProfileName[]]>([
    // Its sparks are drawn 30 times a second: both fields of a frame have the same ones.
    ...further<[string, ClipName, readonly ProfileName[]]>(
      [
        'sparks that are new with every frame and not with every field',
        clip('pour', 'fields-bottom', 1),
        ['filled-h264'],
      ],
      [
        'one field darker than the other for good, and nothing moves',
        clip('flicker', 'fields-top'),
        ['fitted-vc3', 'full-vc3'],
      ],
    ),
  ])(
    '%s: fingerprints cannot tell, and what the encoder was given holds it',
    async (_title, name, wanted) => {
      const { done, verdict, codes, fingerprintSets } = await judged(name, wanted, otherFields(name.form));
      expect([done, verdict, codes]).toEqual([true, 'held', ['encoder-input-differs']]);
      expect(
        fingerprintSets.map(({ measured }) => measured.includes('which field is the earlier cannot be told')),
      ).toEqual(wanted.map(() => true));
    },
  );

  // In npm test of flashes: burn-in.test.ts.
  const earlierField = async (): Promise<void> => {
    const { verdict, codes, fingerprintSets } = await judged(
      clip('bell', 'fields-bottom'),
      ['small-h264', 'filled-h264'],
      { do: 'none' },
    );
    expect([verdict, codes]).toEqual(['ready', []]);
    expect(fingerprintSets.filter(({ measured }) => measured.includes('which field'))).toEqual([]);
  };
  if (everyRow) test('of the earlier field the same bell is ready, and its field is reported', earlierField);
});

const SCALER = 'bicubic+accurate_rnd+full_chroma_int+full_chroma_inp+bitexact';

const twoPixelsOff = async (): Promise<void> => {
  const filters = `crop=w=1916:h=1436:x=2:y=2:exact=1,scale=w=1920:h=1440:flags=${SCALER},setsar=1`;
  const { done, verdict, codes } = await judged(clip('pan', 'drop-frame-30', 1), ['editorial-rdd36'], {
    do: 'filter',
    stage: 'encoder',
    profile: 'editorial-rdd36',
    filters,
    retag: true,
  });
  expect([done, verdict]).toEqual([true, 'held']);
  expect(codes).toContain('picture-displaced');
};
// Eight of 384 in npm test: the row wrong-crop of faults.test.ts.
if (everyRow) test('two pixels of 1920 cut off on every side, and the rest enlarged: held', twoPixelsOff);

// Of a chart in npm test: the row wrong-matrix of faults.test.ts.
const anotherMatrix = async (): Promise<void> => {
  const filters = `scale=flags=${SCALER}:in_range=limited:out_range=limited:in_color_matrix=bt709:out_color_matrix=bt2020`;
  const { done, verdict, codes } = await judged(clip('fade-in', 'fields-top'), ['small-rdd36'], {
    do: 'filter',
    stage: 'encoder',
    profile: 'small-rdd36',
    filters,
    retag: true,
  });
  expect([done, verdict]).toEqual([true, 'held']);
  expect(codes).toContain('matrix-wrong');
};
if (everyRow) test('colours of another matrix where fields move and little is coloured: held', anotherMatrix);

test.each<[string, ClipName, readonly ProfileName[]]>([
  [
    'a fade to black, and few frames of it are whole',
    clip('fade-out', 'drop-frame-30'),
    ['small-h264', ...further<ProfileName>('filled-h264')],
  ],
  ...further<[string, ClipName, readonly ProfileName[]]>(
    ['a flash that begins between two fields', clip('flashes', 'fields-top', 1), ['fitted-vc3']],
    ['a slow pull of focus in VC-3', clip('focus', 'pal-mute', 1), ['small-vc3']],
    [
      'a fade to black that fills more than half of the clip',
      clip('fade-out', 'whole-24'),
      ['filled-h264', 'full-vc3'],
    ],
    ['the same in fields', clip('fade-out', 'fields-top', 1), ['fitted-vc3', 'full-vc3', 'small-h264']],
    ['a slow pull of focus beside H.264', clip('focus', 'film-two-tracks'), ['small-vc3', 'small-h264']],
  ),
])('%s: ready', async (_title, name, wanted) => {
  const { verdict, codes } = await judged(name, wanted, { do: 'none' });
  expect([verdict, codes]).toEqual(['ready', []]);
});

test.each<[string, ClipName, readonly ProfileName[], Operation]>([
  ...further<[string, ClipName, readonly ProfileName[], Operation]>([
    'the grain of a locked-off shot, in VC-3, from frame 32 on that of five frames before',
    clip('locked-off', 'pal'),
    ['small-vc3', 'small-h264'],
    {
      do: 'frames',
      stage: 'encoder',
      profile: 'small-vc3',
      count: 40,
      map: Array.from({ length: 40 }, (_, frame) => (frame < 32 ? frame : frame - 5)),
    },
  ]),
  [
    'faint grain in fields, in RDD 36, ten frames that stand still',
    clip('locked-off-faint', 'fields-top', 1),
    ['small-rdd36'],
    {
      do: 'frames',
      stage: 'encoder',
      profile: 'small-rdd36',
      count: 25,
      map: Array.from({ length: 25 }, (_, frame) => (frame > 8 && frame < 18 ? 8 : frame)),
    },
  ],
])('%s: held', async (_title, name, wanted, operation) => {
  const { done, verdict, codes } = await judged(name, wanted, operation);
  expect([done, verdict]).toEqual([true, 'held']);
  expect(codes).toContain('frame-missing');
});
