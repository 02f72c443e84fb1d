/** Log pictures made for displays of high dynamic range, as a job: published, and read back by programs of others. */
import { execFileSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { checkDeliverable } from '../../check/index.ts';
import { type Job, type MovieWork, workOf } from '../../ledger/job.ts';
import { layout } from '../../ledger/layout.ts';
import { type DeliverableReport, deliverableReportSchema } from '../../ledger/report.ts';
import { readRecord } from '../../ledger/store.ts';
import { loadProfiles } from '../../profiles/load.ts';
import { decideOutcome } from '../../profiles/outcome/any.ts';
import { isMovie } from '../../profiles/schema.ts';
import type { ContentLight } from '../../proof/light/form.ts';
import { finishContentLight } from '../../worker/content-light.ts';
import { runJob } from '../../worker/job.ts';
import { type CheckedWith, checkWith } from '../faults/check-with.ts';
import type { Operation } from '../faults/operation.ts';
import { moviesOf } from '../support/jobs.ts';
import { freshFolder } from '../support/folder.ts';
import { further } from '../support/lane.ts';
import { makeAll, mediaTools } from '../support/make.ts';
import { groupFolder, interpretation } from '../support/master.ts';
import { makeMovie } from '../support/media.ts';
import { outputOf } from '../support/pictures.ts';
import { jobFor, workContext } from '../support/work.ts';

/** Pictures of a log curve, and at the left a grey card: S-Log3 has 18 % at code 420 of 1023, which is 424 of limited range. */
const LOG = [
  "geq=lum='if(lt(X,96),424,p(X,Y)*0.45+190)':cb='if(lt(X,48),512,512+(p(X,Y)-512)/4)':cr='if(lt(X,48),512,512+(p(X,Y)-512)/4)'",
  'setparams=color_primaries=bt709:color_trc=bt709:colorspace=bt709:range=tv',
];
const FRAMES = 26;

/** The clip as one of S-Log3, which nothing in the file says. */
async function logJob(source: string, delivery: string, ...wanted: string[]): Promise<Job> {
  const job = await jobFor(source, delivery);
  const facts = {
    ...job.facts,
    interpretation: { ...interpretation, input: { name: 'slog3-sgamut3cine' as const } },
  };
  const { profiles, findings } = await loadProfiles({ wanted });
  expect(findings).toEqual([]);
  const deliverables = profiles.map(({ profile, hash }) => {
    const decided = decideOutcome({ day: job.day, roll: job.roll, clip: job.clip, facts, profile });
    if (decided.outcome === null) throw new Error(JSON.stringify(decided.findings));
    return workOf(profile, hash, decided.outcome);
  });
  return { ...job, facts, deliverables };
}

async function reportOf(job: Job, profile: string): Promise<DeliverableReport> {
  const path = layout.deliverableReport(job.deliveryFolder, job.clip.id, profile);
  const read = await readRecord(path, deliverableReportSchema);
  if (read.state !== 'read') throw new Error(`no report of ${profile}: ${read.state}`);
  return read.value;
}

describe('a log clip', () => {
  let job: Job;
  const fileOf = (profile: string): string => join(job.deliveryFolder, profile, 'A001C001.mp4');
  beforeAll(async () => {
    const folder = groupFolder('hdr');
    const source = await makeMovie(join(folder, 'card', 'A001C001.mov'), {
      frames: FRAMES,
      extra: ['-vf', [`trim=end_frame=${FRAMES}`, 'format=yuv422p10le', ...LOG].join(','), '-profile:v', '3'],
    });
    job = await logJob(source, join(folder, 'delivery'), 'review-hdr', 'review-hlg');
    await runJob(job, await workContext());
  }, 240_000);

  test.each(['review-hdr', 'review-hlg'])('is published in %s', async (profile) => {
    const { state, findings, checks } = await reportOf(job, profile);
    expect({ state, findings }).toEqual({ state: 'published', findings: [] });
    expect(checks.every(({ status }) => status === 'passed')).toBe(true);
  });

  /** ffprobe on the first frame; MediaInfo on the whole. */
  test('ffprobe and MediaInfo read display and light levels of PQ as the report has them', async () => {
    const { contentLight } = await reportOf(job, 'review-hdr');
    expect(contentLight?.greatest).toBeGreaterThan(contentLight?.average ?? 0);
    const asked = [
      '-show_entries',
      'frame=side_data_list:stream=codec_tag_string,profile,chroma_location:frame_side_data',
    ];
    const probed = JSON.parse(
      String(
        await outputOf('ffprobe', [
          ...['-v', 'error', '-select_streams', 'v', '-read_intervals', '%+#1', '-of', 'json'],
          ...asked,
          fileOf('review-hdr'),
        ]),
      ),
    );
    expect(probed.streams).toEqual([
      { codec_tag_string: 'hvc1', profile: 'Main 10', chroma_location: 'topleft' },
    ]);
    // P3-D65 (SMPTE EG 432-1) in steps of 1/50000.
    expect(probed.frames[0].side_data_list).toEqual([
      {
        side_data_type: 'Mastering display metadata',
        ...{ red_x: '34000/50000', red_y: '16000/50000' },
        ...{ green_x: '13250/50000', green_y: '34500/50000' },
        ...{ blue_x: '7500/50000', blue_y: '3000/50000' },
        ...{ white_point_x: '15635/50000', white_point_y: '16450/50000' },
        ...{ min_luminance: '1/10000', max_luminance: '10000000/10000' },
      },
      {
        side_data_type: 'Content light level metadata',
        max_content: contentLight?.greatest,
        max_average: contentLight?.average,
      },
    ]);
    const tracks = JSON.parse(
      execFileSync('mediainfo', ['--Output=JSON', fileOf('review-hdr')], { encoding: 'utf8' }),
    ).media.track as Record<string, string>[];
    expect(tracks.find((track) => track['@type'] === 'Video')).toMatchObject({
      HDR_Format: 'SMPTE ST 2086',
      HDR_Format_Compatibility: 'HDR10',
      transfer_characteristics: 'PQ',
      matrix_coefficients: 'BT.2020 non-constant',
      MaxCLL: `${contentLight?.greatest} cd/m2`,
      MaxFALL: `${contentLight?.average} cd/m2`,
    });
  });

  test('HLG has no static metadata, and the tags of its system', async () => {
    const [track] = (
      JSON.parse(execFileSync('mediainfo', ['--Output=JSON', fileOf('review-hlg')], { encoding: 'utf8' }))
        .media.track as Record<string, string>[]
    ).filter((one) => one['@type'] === 'Video');
    expect(track).toMatchObject({ transfer_characteristics: 'HLG', colour_primaries: 'BT.2020' });
    expect(track).not.toHaveProperty('MaxCLL');
    expect((await reportOf(job, 'review-hlg')).contentLight).toBeUndefined();
  });

  // The CTL of ACES 2 (ampas/aces-core, April 2025) gives a signal of 0.3298 for 18 % grey at 1000 cd/m², P3-D65 in PQ; 64 + 876 x 0.3298 is 353.
  test('a grey card of 18 % comes out at 353 512 512 in PQ', async () => {
    const picture = await outputOf('ffmpeg', [
      ...['-v', 'error', '-i', fileOf('review-hdr'), '-frames:v', '1', '-f', 'rawvideo', '-'],
    ]);
    const code = (sample: number): number => picture.readUInt16LE(2 * sample);
    const [luma, chroma] = [320 * 180, 160 * 90];
    const place = 60 * 160 + 20;
    const found = [code(120 * 320 + 40), code(luma + place), code(luma + chroma + place)];
    for (const [index, expected] of [353, 512, 512].entries())
      expect(Math.abs((found[index] as number) - expected)).toBeLessThanOrEqual(1);
  });

  const LIGHT = Buffer.from('4e019004', 'hex');
  const DISPLAY = Buffer.from('4e018918', 'hex');
  test.each<[string, (bytes: Buffer) => void, string, RegExp]>([
    [
      'another MaxCLL in every message',
      (bytes) => {
        for (let at = bytes.indexOf(LIGHT); at >= 0; at = bytes.indexOf(LIGHT, at + 1))
          bytes.writeUInt16BE(bytes.readUInt16BE(at + 4) + 1, at + 4);
      },
      'codec-differs',
      /^MaxCLL /,
    ],
    ...further<[string, (bytes: Buffer) => void, string, RegExp]>([
      'another MaxFALL before the last key frame alone',
      (bytes) => {
        bytes.writeUInt16BE(9, bytes.lastIndexOf(LIGHT) + 6);
      },
      'container-differs',
      /picture 25: messages/,
    ]),
    [
      'another display before the last key frame alone',
      (bytes) => {
        bytes.writeUInt16BE(1, bytes.lastIndexOf(DISPLAY) + 4);
      },
      'container-differs',
      /picture 25: messages/,
    ],
  ])('%s is held', async (_, spoil, code, found) => {
    const { outcome, contentLight, bitstream } = await reportOf(job, 'review-hdr');
    if (outcome.kind !== 'movie') throw new Error('no movie');
    const bytes = readFileSync(fileOf('review-hdr'));
    spoil(bytes);
    const path = join(freshFolder('spoiled'), 'A001C001.mp4');
    writeFileSync(path, bytes);
    const checked = await checkDeliverable({
      path,
      outcome,
      checks: [],
      sourceFacts: job.facts,
      sourceFingerprints: null,
      encoded: bitstream ?? null,
      contentLight: contentLight ?? null,
      sketch: null,
      tools: await mediaTools(),
    });
    const statuses = new Map(checked.results.map(({ check, status }) => [check, status]));
    // What was encoded is untouched: that alone would not find it.
    expect(statuses.get('bitstream')).toBe('passed');
    expect(checked.findings.filter((one) => one.code === code).map((one) => one.found)).toEqual([
      expect.stringMatching(found),
    ]);
  });
});

/** Whatever measures light, and whatever of it is written: held by a second reading, and by what the file itself shows. */
describe('light levels that are not those of the pictures', () => {
  let job: Job;
  const folder = groupFolder('light');
  const made = (operation: Operation, name: string): Promise<CheckedWith> =>
    checkWith(job, operation, join(folder, name));
  beforeAll(async () => {
    const source = await makeMovie(join(folder, 'card', 'A001C001.mov'), {
      frames: FRAMES,
      extra: ['-vf', [`trim=end_frame=${FRAMES}`, 'format=yuv422p10le', ...LOG].join(','), '-profile:v', '3'],
    });
    job = await logJob(source, join(folder, 'delivery'), 'review-hdr');
  }, 60_000);

  test('are held by a second reading of what the encoder was given, when the maker writes others', async () => {
    const { made: seen, checked, light } = await made({ do: 'none' }, 'none');
    expect(checked['review-hdr']?.findings).toEqual([]);
    expect(light['review-hdr']?.lightLevels?.passed).toBe(true);
    const measured = seen.light[0];
    const said = measured?.seen.light;
    if (measured == null || said == null) throw new Error('no light was measured');
    const [deliverable] = moviesOf(job) as [MovieWork];
    const staged = join(freshFolder('light'), 'A001C001.mp4');
    writeFileSync(staged, '');
    const found = async (light: ContentLight, frames = FRAMES): Promise<string[]> => {
      const stated = await finishContentLight(
        job,
        { deliverable, staged },
        { ...measured, seen: { frames, light } },
      );
      return (stated.lightLevels?.findings ?? []).map((one) => `${one.code} ${one.found}`);
    };
    expect(await found(said)).toEqual([]);
    const { greatest, average } = said;
    for (const part of [1.1, 0.9]) {
      const [pixel, frame] = [Math.round(greatest * part), Math.round(average * part)];
      expect(await found({ ...said, greatest: pixel })).toEqual([`light-levels-differ MaxCLL ${pixel}`]);
      expect(await found({ ...said, average: frame })).toEqual([`light-levels-differ MaxFALL ${frame}`]);
    }
    // Of one frame fewer nothing is written, and nothing said is not what is there.
    expect(await found(said, FRAMES - 1)).toEqual([
      'light-levels-differ MaxCLL not stated',
      'light-levels-differ MaxFALL not stated',
    ]);
  }, 120_000);

  /** What the pipe of the light has is other than what the encoder is given: both readings see the same, and the file shows it. */
  test.each<[string, string]>([
    ['of other pictures', 'lutyuv=y=val*0.85'],
    ...further<[string, string]>(['of pictures that are brighter', 'lutyuv=y=val*1.2']),
  ])(
    '%s are held by the file',
    async (_, filters) => {
      const to = `[light-given];[light-given]${filters}[light0]`;
      const { checked, light } = await made(
        { do: 'graph', stage: 'encoder', from: '[light0]', to },
        filters.slice(0, 8),
      );
      expect(light['review-hdr']?.lightLevels?.passed).toBe(true);
      expect(new Set(checked['review-hdr']?.findings.map(({ code }) => code))).toEqual(
        new Set(['light-levels-differ']),
      );
    },
    120_000,
  );
});

test('H.265 has the same bytes however many threads there are', async () => {
  const { profiles } = await loadProfiles({ wanted: ['test/fixtures/profiles/small-h265.yaml'] });
  const folder = freshFolder('threads');
  const source = await makeMovie(join(folder, 'A001C001.mov'), { frames: FRAMES });
  const digests: string[] = [];
  for (const threads of [1, 16, ...further(2)]) {
    const own = join(folder, String(threads));
    mkdirSync(own);
    const [made] = await makeAll(
      source,
      profiles.filter(isMovie).map(({ profile }) => profile),
      own,
      threads,
    );
    expect(made?.checked.findings).toEqual([]);
    expect(made?.checked.passed).toBe(true);
    digests.push(
      createHash('sha256')
        .update(readFileSync(made?.path ?? ''))
        .digest('hex'),
    );
  }
  expect(new Set(digests).size).toBe(1);
});
