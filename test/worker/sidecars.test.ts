/** The files beside a movie for grading through the whole job: found again after a crash, replaced when ours, held by gate and audit. */
import {
  cpSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  renameSync,
  rmSync,
  symlinkSync,
  writeFileSync,
} from 'node:fs';
import { execFileSync } from 'node:child_process';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { auditDelivery } from '../../coordinator/audit/index.ts';
import { deliveryContents } from '../../coordinator/gate/delivery-contents.ts';
import { readDeliverables } from '../../coordinator/gate/disk.ts';
import { newSweep } from '../../coordinator/night/sweeping.ts';
import { packageFolder } from '../../files/installation.ts';
import type { Job } from '../../ledger/job.ts';
import { layout } from '../../ledger/layout.ts';
import { newToken, thisOwner } from '../../ledger/owner.ts';
import { type DeliverableReport, deliverableReportSchema } from '../../ledger/report.ts';
import { writeRecord } from '../../ledger/store.ts';
import type { InputTransform } from '../../media/colour/input.ts';
import { JobFailure } from '../../worker/context.ts';
import { runJob } from '../../worker/job.ts';
import { decide } from '../support/decide.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { further } from '../support/lane.ts';
import { interpretation, reportOf } from '../support/master.ts';
import { type ClipOnDisk, masterJob, movieClip } from '../support/masters.ts';
import { workContext } from '../support/work.ts';

const PROFILE = 'grading-master-4444';
const NAME = 'A001C001';
const base = join(sharedFolder, 'sidecars');
/** Of F-Log2 the registry has no identifier: a .clf lies beside. */
const WITH_CLF: InputTransform = { name: 'flog2-fgamut' };
const WITHOUT_CLF: InputTransform = { name: 'slog3-sgamut3cine' };

let clip: ClipOnDisk;
let job: Job;
const jobWith = async (folder: string, input: InputTransform): Promise<Job> =>
  await masterJob(clip, folder, [PROFILE], { ...interpretation, input });

beforeAll(async () => {
  clip = await movieClip(join(base, 'roll'), {
    frames: 3,
    size: '64x48',
    codec: 'prores',
    timecode: '10:00:00:00',
  });
  job = await jobWith(join(base, 'job'), WITH_CLF);
  await runJob(job, await workContext());
}, 240_000);

/** The finished job with a delivery of its own. */
function copied(): Job {
  const deliveryFolder = join(freshFolder('copy'), 'day-01', 'A001');
  cpSync(job.deliveryFolder, deliveryFolder, { recursive: true, preserveTimestamps: true });
  return { ...job, deliveryFolder };
}
const placeOf = (of: Job, ending: string): string =>
  layout.deliverable(of.deliveryFolder, PROFILE, `${NAME}.${ending}`);
const folderOf = (of: Job): string => layout.profileFolder(of.deliveryFolder, PROFILE);
const inFolder = (of: Job): string[] => readdirSync(folderOf(of)).sort();
const WHOLE = ['amf', 'clf', 'mov'].map((ending) => `${NAME}.${ending}`);

test('movie, metadata and transform lie side by side, all in the report; the metadata name the movie and fit the schema', async () => {
  const report = await reportOf(job, PROFILE);
  expect(inFolder(job)).toEqual(WHOLE);
  expect(report.sidecars?.map(({ path }) => path)).toEqual([
    `${PROFILE}/${NAME}.clf`,
    `${PROFILE}/${NAME}.amf`,
  ]);
  expect(report.staged).toBeUndefined();
  const text = readFileSync(placeOf(job, 'amf'), 'utf8');
  expect(text).toContain(`<aces:file>${NAME}.mov</aces:file>`);
  expect(text.match(/applied="\w+"/g)).toEqual(['applied="false"', 'applied="true"']);
  expect(text.indexOf('ACEScct_to_ACES')).toBeLessThan(text.indexOf('archivedPipeline'));
  execFileSync(
    'xmllint',
    [
      '--nonet',
      '--noout',
      '--schema',
      join(packageFolder, 'test/fixtures/amf/acesMetadataFile.xsd'),
      placeOf(job, 'amf'),
    ],
    { stdio: 'pipe' },
  );
});

/** Nothing may be made: a program that is started ends the test. */
const noEncoder = async () => {
  const path = join(freshFolder('none'), 'ffmpeg');
  writeFileSync(path, '#!/bin/sh\nexit 97\n', { mode: 0o755 });
  return await workContext({ ffmpeg: path });
};

/** As a worker leaves it that dies before the movie has its name: `unnamed` are the endings that do not have theirs yet. */
async function crashed(unnamed: readonly string[]): Promise<{ job: Job; staged: string }> {
  const dead = copied();
  const token = newToken({ ...thisOwner(), born: '000000000000' });
  const staged = layout.staging(dead.deliveryFolder, PROFILE, token, 'mov');
  for (const ending of unnamed) renameSync(placeOf(dead, ending), layout.stagedBeside(staged, `x.${ending}`));
  const { file, ...report } = await reportOf(dead, PROFILE);
  if (file === null) throw new Error('no file');
  const { seen: _, ...unseen } = file;
  await writeRecord(
    layout.deliverableReport(dead.deliveryFolder, dead.clip.id, PROFILE),
    deliverableReportSchema,
    { ...report, file: unseen, state: 'publishing', staged: staged.split('/').at(-1) } as DeliverableReport,
  );
  return { job: dead, staged };
}

test.each([[['mov', 'amf', 'clf']], [['mov', 'amf']], [['mov']]])(
  'a worker that died with %j unnamed: the next run names them and encodes nothing',
  async (unnamed) => {
    const { job: dead } = await crashed(unnamed);
    // The run sweeps first what dead processes left: what is waited for stays.
    await newSweep(
      join(dead.deliveryFolder, '..', '..'),
      () => true,
      () => undefined,
    ).once();
    await runJob(dead, await noEncoder());
    expect(inFolder(dead)).toEqual(WHOLE);
    expect(await reportOf(dead, PROFILE)).toMatchObject({ state: 'published' });
    expect((await reportOf(dead, PROFILE)).staged).toBeUndefined();
    expect(await decide(dead)).toEqual([]);
  },
);

test('a sidecar that a crash lost is made again with its movie, and without it nothing is named', async () => {
  const { job: dead, staged } = await crashed(['mov', 'amf']);
  rmSync(layout.stagedBeside(staged, 'x.amf'));
  // That it is made: an encoder is asked for.
  await expect(runJob(dead, await noEncoder())).rejects.toThrow(JobFailure);
  expect(inFolder(dead)).not.toContain(`${NAME}.mov`);
  expect(await decide(dead)).not.toEqual([]);
});

test('a sidecar that was changed since a crash is not published: the movie is made again', async () => {
  const { job: dead, staged } = await crashed(['mov', 'amf']);
  writeFileSync(layout.stagedBeside(staged, 'x.amf'), 'something else');
  await runJob(dead, await workContext());
  expect(inFolder(dead)).toEqual(WHOLE);
  expect(readFileSync(placeOf(dead, 'amf'))).toEqual(readFileSync(placeOf(job, 'amf')));
  expect(await decide(dead)).toEqual([]);
});

test('made with other settings, the older set of ours is replaced, its transform taken away', async () => {
  const { deliveryFolder } = copied();
  const second = { ...(await jobWith(freshFolder('settings'), WITHOUT_CLF)), deliveryFolder };
  expect(inFolder(second)).toEqual(WHOLE);
  await runJob(second, await workContext());
  expect(inFolder(second)).toEqual([`${NAME}.amf`, `${NAME}.mov`]);
  expect(await decide(second)).toEqual([]);
});

test('a sidecar name that somebody else has is refused; theirs stays, and no movie has its name', async () => {
  const other = await jobWith(freshFolder('other'), WITH_CLF);
  mkdirSync(folderOf(other), { recursive: true });
  writeFileSync(placeOf(other, 'amf'), 'of somebody else');
  await expect(runJob(other, await workContext())).rejects.toThrow(JobFailure);
  expect(inFolder(other)).toEqual([`${NAME}.amf`]);
  expect(readFileSync(placeOf(other, 'amf'), 'utf8')).toBe('of somebody else');
  expect((await reportOf(other, PROFILE)).findings.map(({ code }) => code)).toEqual(['target-name-taken']);
});

describe('gate and audit', () => {
  type Spoiling = [what: string, ending: string, spoil: (of: Job) => void, code: string];
  const faults: readonly Spoiling[] = [
    ['metadata that are not there', 'amf', (of) => rmSync(placeOf(of, 'amf')), 'file-absent'],
    ...further<Spoiling>([
      'a transform that is not there',
      'clf',
      (of) => rmSync(placeOf(of, 'clf')),
      'file-absent',
    ]),
    [
      'metadata with a word changed',
      'amf',
      (of) =>
        writeFileSync(
          placeOf(of, 'amf'),
          readFileSync(placeOf(of, 'amf'), 'utf8').replace('applied="false"', 'applied="true"'),
        ),
      'digest-differs',
    ],
    [
      'a link in the place of the metadata',
      'amf',
      (of) => {
        renameSync(placeOf(of, 'amf'), join(of.deliveryFolder, '..', 'elsewhere'));
        symlinkSync(join(of.deliveryFolder, '..', 'elsewhere'), placeOf(of, 'amf'));
      },
      'file-absent',
    ],
  ];
  test.each(faults)('hold %s', async (_, ending, spoil, code) => {
    const spoiled = copied();
    expect(await decide(spoiled)).toEqual([]);
    spoil(spoiled);
    const { tools } = await workContext();
    const { rolls } = await auditDelivery({ delivery: join(spoiled.deliveryFolder, '..', '..'), tools });
    expect(rolls[0]).toMatchObject({ recorded: 'ready', measured: 'held' });
    expect(rolls[0]?.findings.map((item) => [item.code, item.file])).toContainEqual([
      code,
      `${PROFILE}/${NAME}.${ending}`,
    ]);
    expect(await decide(spoiled)).toContain(code);
  });

  test('pass what was made, statement and all; a report that was edited to name other sidecars does not', async () => {
    const whole = copied();
    expect(await decide(whole)).toEqual([]);
    const statement = readFileSync(layout.statement(whole.deliveryFolder), 'utf8');
    for (const ending of ['amf', 'clf', 'mov']) expect(statement).toContain(`"${PROFILE}/${NAME}.${ending}"`);
    const { tools } = await workContext();
    const audited = await auditDelivery({ delivery: join(whole.deliveryFolder, '..', '..'), tools });
    expect(audited.rolls[0]).toMatchObject({ measured: 'ready', statement: 'fits', findings: [] });
    const { sidecars: _, ...edited } = await reportOf(whole, PROFILE);
    await writeRecord(
      layout.deliverableReport(whole.deliveryFolder, whole.clip.id, PROFILE),
      deliverableReportSchema,
      edited,
    );
    expect(await decide(whole)).toContain('record-contradictory');
  });

  test('account for every file in the folder, and say which one nobody made', async () => {
    const of = copied();
    writeFileSync(placeOf(of, 'clf').replace(NAME, 'A001C009'), 'of nobody');
    const found = await deliveryContents({
      rollFolder: of.deliveryFolder,
      roll: of.roll,
      clips: [{ clip: of.clip, due: [PROFILE], stillsDue: false }],
      stills: new Map(),
      onDisk: await readDeliverables(of.deliveryFolder, [of.clip], [PROFILE], 'measure'),
      otherFiles: [],
    });
    expect(found.map(({ code, file }) => [code, file])).toEqual([
      ['file-not-listed', `${PROFILE}/A001C009.clf`],
    ]);
  });
});

test('camera and date of the source stand in the movie, the date with the offset of the time zone of the show; ranges of its values in the report', async () => {
  const dated = {
    ...clip,
    facts: {
      ...clip.facts,
      createdAt: '2026-11-29T18:03:02',
      metadata: {
        make: 'Foundry',
        model: 'Bell 4',
        'com.apple.quicktime.creationdate': '2026-11-29T18:03:02',
        bellTone: 'C sharp',
      },
    },
  };
  const of = await masterJob(dated, freshFolder('dated'), [PROFILE, 'grading-master-exr'], {
    ...interpretation,
    input: WITHOUT_CLF,
    timeZone: 'Europe/Berlin',
  });
  await runJob(of, await workContext());
  const report = await reportOf(of, PROFILE);
  expect(report.state).toBe('published');
  const { format } = JSON.parse(
    execFileSync('ffprobe', ['-v', 'error', '-show_format', '-of', 'json', placeOf(of, 'mov')], {
      encoding: 'utf8',
    }),
  ) as { format: { tags: Record<string, string> } };
  expect(format.tags).toMatchObject({
    make: 'Foundry',
    model: 'Bell 4',
    date: '2026-11-29T18:03:02+01:00',
  });
  expect('left' in report.outcome ? report.outcome.left : null).toEqual([
    { name: 'bellTone', why: expect.stringMatching(/no place/) },
  ]);
  expect(readFileSync(placeOf(of, 'amf'), 'utf8')).toContain(
    '<aces:creationDateTime>2026-11-29T18:03:02+01:00</aces:creationDateTime>',
  );
  const values = report.checks.find(({ check }) => check === 'whole-frames')?.values;
  expect(values).toMatchObject({ pixels: 3 * 64 * 48 });
  for (const { least, greatest } of values?.channels ?? []) expect(least).toBeLessThan(greatest);
  expect(values?.channels.map(({ channel }) => channel)).toEqual(['R', 'G', 'B']);
  // The frames of the same clip are made of the same light.
  const frames = (await reportOf(of, 'grading-master-exr')).checks.find(
    ({ check }) => check === 'whole-frames',
  )?.values;
  for (const [at, one] of (values?.channels ?? []).entries())
    expect(Math.abs(one.greatest - (frames?.channels[at]?.greatest ?? Number.NaN))).toBeLessThan(
      0.001 * Math.abs(one.greatest) + 0.0001,
    );
  const [exr] = readdirSync(layout.deliverable(of.deliveryFolder, 'grading-master-exr', NAME)).sort();
  const header = execFileSync(
    'exrheader',
    [layout.deliverable(of.deliveryFolder, 'grading-master-exr', join(NAME, exr ?? ''))],
    { encoding: 'utf8' },
  );
  expect(header).toContain('utcOffset (type float): -3600');
  expect(header).toContain('statedByHand (type string): "utcOffset"');
});

test('a movie with another maker, and no date, than was decided is held by both', async () => {
  const dated = {
    ...clip,
    facts: { ...clip.facts, metadata: { make: 'Foundry', creation_time: '2026-11-29T17:03:02Z' } },
  };
  const of = await masterJob(dated, freshFolder('held'), [PROFILE], {
    ...interpretation,
    input: WITHOUT_CLF,
  });
  const path = join(freshFolder('stand-in'), 'ffmpeg');
  const cases = ['make=Somebody', 'date='].map((word) => `${word.split('=')[0]}=*) args+=("${word}") ;;`);
  writeFileSync(
    path,
    `#!/bin/bash\nargs=()\nfor one in "$@"; do case "$one" in ${cases.join(' ')} *) args+=("$one") ;; esac; done\nexec ffmpeg "\${args[@]}"\n`,
    { mode: 0o755 },
  );
  await expect(runJob(of, await workContext({ ffmpeg: path }))).rejects.toThrow(JobFailure);
  const said = (await reportOf(of, PROFILE)).findings.map(
    ({ code, found, expected }) => `${code} ${found} ${expected}`,
  );
  expect(said).toEqual(
    expect.arrayContaining([
      expect.stringMatching(/^container-differs .*Somebody/),
      expect.stringMatching(/^container-part-absent .*date/i),
    ]),
  );
  expect(inFolder(of)).toEqual([]);
});
