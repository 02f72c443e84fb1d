/**
 * What a source says of camera, lens, exposure, place and time stands in its masters. The sources are written by exiftool, oiiotool,
 * exrstdattr and ffmpeg; the masters are read by exrheader.
 */
import { execFileSync } from 'node:child_process';
import { mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { checkMaster } from '../../check/master/index.ts';
import { attributesOf } from '../../check/master/exr/header.ts';
import type { Job } from '../../ledger/job.ts';
import { layout } from '../../ledger/layout.ts';
import type { MasterOutcome } from '../../profiles/master/outcome.ts';
import { runJob } from '../../worker/job.ts';
import { freshFolder } from '../support/folder.ts';
import { factsOf } from '../support/make.ts';
import { codesBesideLimits, groupFolder, interpretation, reportOf } from '../support/master.ts';
import { masterJob, numberedFrames, rawClip, sequenceClip } from '../support/masters.ts';
import { ffmpeg } from '../support/media.ts';
import { outputOf } from '../support/pictures.ts';
import { workContext } from '../support/work.ts';

const NAME = 'A001C001';
const linear = { ...interpretation, input: { name: 'aces2065-1' as const } };

function outcomeOf(job: Job, profile: string): MasterOutcome {
  const work = job.deliverables.find((one) => one.profile.name === profile);
  if (work?.outcome.kind !== 'frames') throw new Error(`no frames in ${profile}`);
  return work.outcome;
}
const framesOf = (job: Job, profile: string): string[] => {
  const folder = join(layout.profileFolder(job.deliveryFolder, profile), outcomeOf(job, profile).fileName);
  return readdirSync(folder)
    .filter((name) => /\.(exr|dpx)$/.test(name))
    .sort()
    .map((name) => join(folder, name));
};
const headerOf = (path: string): string => execFileSync('exrheader', [path], { encoding: 'utf8' });

async function made(job: Job, ...profiles: readonly string[]): Promise<void> {
  await runJob(job, await workContext());
  for (const profile of profiles) {
    const report = await reportOf(job, profile);
    expect([report.state, codesBesideLimits(report)]).toEqual(['published', []]);
  }
}
const leftOf = (job: Job, profile: string): string[] =>
  (outcomeOf(job, profile).left ?? []).map(({ name }) => name);

describe('raw frames with tags by exiftool', () => {
  const profiles = ['grading-master-exr', 'grading-master-aces', 'dpx-10'];
  let job: Job;
  beforeAll(async () => {
    const roll = groupFolder('stated');
    const { place } = await rawClip(roll, { width: 64, height: 48, frames: 2 });
    const files = readdirSync(join(roll, NAME))
      .sort()
      .map((name) => join(roll, NAME, name));
    await outputOf('exiftool', [
      ...['-q', '-overwrite_original', '-Make=Bell Works', '-Model=Ladle 2', '-LensMake=Bronze Optics'],
      ...['-LensModel=Tuner 35', '-LensSerialNumber=0815', '-FNumber=2.8', '-FocalLength=35', '-ISO=800'],
      ...['-ExposureTime=1/50', '-SubjectDistance=3.25', '-SerialNumber=4711', '-LensInfo=24 70 2.8 4'],
      ...['-DateTimeOriginal=2026:11:25 19:06:17', '-OffsetTimeOriginal=+02:00', '-Artist=nobody'],
      ...['-GPSLatitude=48.5', '-GPSLatitudeRef=N', '-GPSLongitude=11.25', '-GPSLongitudeRef=W'],
      ...['-Software=Ladle 1.2', '-UniqueCameraModel=Bell Works Ladle 2 mark I'],
      ...files,
    ]);
    // The second frame is focused elsewhere.
    await outputOf('exiftool', ['-q', '-overwrite_original', '-SubjectDistance=inf', files[1] as string]);
    if (place.kind !== 'sequence') throw new Error('frames were meant');
    job = await masterJob(await sequenceClip(roll, place), groupFolder('stated-delivery'), profiles);
    await made(job, ...profiles);
  });

  test('OpenEXR has each by the name, type and unit of its standard', () => {
    const [first, second] = framesOf(job, 'grading-master-exr').map(headerOf);
    for (const part of [
      'cameraMake (type string): "Bell Works"',
      'cameraModel (type string): "Ladle 2"',
      'uniqueCameraModel (type string): "Bell Works Ladle 2 mark I"',
      'cameraSerialNumber (type string): "4711"',
      'lensMake (type string): "Bronze Optics"',
      'lensModel (type string): "Tuner 35"',
      'lensSerialNumber (type string): "0815"',
      'lensAttributes (type string): "24-70 mm, f/2.8-4"',
      'aperture (type float): 2.8',
      'nominalFocalLength (type float): 35',
      'isoSpeed (type float): 800',
      'expTime (type float): 0.02',
      'capDate (type string): "2026:11:25 19:06:17"',
      'utcOffset (type float): -7200',
      'latitude (type float): 48.5',
      'longitude (type float): -11.25',
      'focus (type float): 3.25',
      `sourceFile (type string): "${NAME}_000101.dng"`,
      'sourceFrame (type string): "101"',
    ])
      expect(first).toContain(part);
    expect(second).toContain('focus (type float): inf');
    expect(second).toContain(`sourceFile (type string): "${NAME}_000102.dng"`);
    expect(leftOf(job, 'grading-master-exr')).toEqual(['Artist', 'Software']);
  });

  test('the ACES container has those of its standard, and the others as lines of its comments', () => {
    const header = headerOf(framesOf(job, 'grading-master-aces')[0] as string);
    for (const part of [
      'focalLength (type float): 35',
      'aperture (type float): 2.8',
      'lensModel (type string): "Tuner 35"',
      'uniqueCameraModel: Bell Works Ladle 2 mark I',
      `sourceFile: ${NAME}_000101.dng`,
    ])
      expect(header).toContain(part);
    expect(header).not.toContain('nominalFocalLength');
  });

  test('DPX says what it has fields for, and the report what it has none for', () => {
    const bytes = readFileSync(framesOf(job, 'dpx-10')[0] as string);
    expect(bytes.toString('latin1', 1432, 1532).replace(/\0.*/s, '')).toBe(`${NAME}_000101.dng`);
    expect(bytes.toString('latin1', 1532, 1551)).toBe('2026:11:25:19:06:17');
    expect(leftOf(job, 'dpx-10')).toEqual(expect.arrayContaining(['FNumber', 'LensModel', 'isoSpeed']));
  });

  test('a value changed in a published file, and one put in, are held', async () => {
    const [path] = framesOf(job, 'grading-master-exr') as [string];
    const good = readFileSync(path);
    const check = () =>
      checkMaster({
        path: join(path, '..'),
        rollFolder: job.deliveryFolder,
        outcome: outcomeOf(job, 'grading-master-exr'),
        sourceFacts: job.facts,
        points: null,
        sceneLinear: null,
        written: null,
      });
    const of = async (bytes: Buffer): Promise<string[]> => {
      writeFileSync(path, bytes);
      const { findings } = await check();
      return findings.filter(({ code }) => code === 'master-header-differs').map(({ found }) => found);
    };
    const spoilt = Buffer.from(good);
    spoilt.writeFloatLE(4, attributesOf(good).attributes.get('aperture')?.at as number);
    expect(await of(spoilt)).toEqual([expect.stringMatching(/: aperture float 4$/)]);
    const other = join(freshFolder('foreign'), 'other.exr');
    writeFileSync(path, good);
    await outputOf('exrstdattr', ['-float', 'tStop', '4', path, other]);
    expect(await of(readFileSync(other))).toEqual([expect.stringMatching(/others attribute tStop/)]);
    expect(await of(good)).toEqual([]);
  });
});

test('attributes of OpenEXR frames go on as they are, frame by frame, and no path with them', async () => {
  const roll = freshFolder('stated');
  mkdirSync(join(roll, NAME));
  for (const [index, focus] of ['3.969', '4.25'].entries()) {
    const plain = join(freshFolder('plain'), 'plain.exr');
    await outputOf('oiiotool', [
      ...[
        '--pattern',
        'fill:top=0.1,0.2,0.3:bottom=0.5,0.4,1',
        '64x48',
        '3',
        '-d',
        'half',
        '--nosoftwareattrib',
      ],
      ...[
        '--attrib',
        'bell/tone',
        'C sharp',
        '--attrib:type=int',
        'scene',
        '12',
        '--attrib',
        'take',
        `t${'b'.repeat(index)}`,
      ],
      ...['--attrib', 'input', '/shows/bell/plates/x.exr', '--attrib:type=matrix', 'worldToCamera'],
      ...['1,0,0,0,0,1,0,0,0,0,1,0,5,6,7.5,1', '-o', plain],
    ]);
    await outputOf('exrstdattr', [
      ...['-focus', focus, '-aperture', '2.8', '-isoSpeed', '800', '-expTime', '0.02'],
      ...['-string', 'lensModel', 'Tuner 100', '-string', 'cameraMake', 'Bell Works'],
      ...['-capDate', '2026:11:25 10:20:30', '-float', 'tStop', '3.1', '-float', 'shutterAngle', '172.8'],
      ...['-owner', 'Bell foundry', '-whiteLuminance', '100', '-float', 'cameraCCTSetting', '5500'],
      ...['-float', 'cameraTintSetting', '3', '-int', 'imageCounter', String(77 + index)],
      ...[plain, join(roll, NAME, `${NAME}.${1001 + index}.exr`)],
    ]);
  }
  const profiles = ['grading-master-exr', 'grading-master-aces', 'dpx-10'];
  const job = await masterJob(
    await sequenceClip(roll, numberedFrames('.exr', { padding: 4, count: 2 })),
    freshFolder('delivery'),
    profiles,
    { ...linear, owner: '' },
  );
  await made(job, ...profiles);
  const [first, second] = framesOf(job, 'grading-master-exr').map(headerOf);
  for (const part of [
    'aperture (type float): 2.8',
    'isoSpeed (type float): 800',
    'lensModel (type string): "Tuner 100"',
    'capDate (type string): "2026:11:25 10:20:30"',
    'tStop (type float): 3.1',
    'shutterAngle (type float): 172.8',
    'owner (type string): "Bell foundry"',
    'cameraCCTSetting (type float): 5500',
    'cameraTintSetting (type float): 3',
    'bell/tone (type string): "C sharp"',
    'scene (type int): 12',
    'worldToCamera (type m44f)',
    'focus (type float): 3.969',
    'take (type string): "t"',
    `sourceFile (type string): "${NAME}.1001.exr"`,
  ])
    expect(first).toContain(part);
  expect(second).toContain('focus (type float): 4.25');
  expect(second).toContain('take (type string): "tb"');
  expect(first).not.toContain('/shows/');
  expect(outcomeOf(job, 'grading-master-exr').left).toEqual(
    expect.arrayContaining([
      { name: 'input', why: 'holds a path' },
      { name: 'whiteLuminance', why: expect.stringContaining('what the values meant') },
      { name: 'imageCounter', why: expect.stringContaining('numbered anew') },
    ]),
  );
  const aces = headerOf(framesOf(job, 'grading-master-aces')[1] as string);
  expect(aces).toContain('focus (type float): 4.25');
  expect(aces).toMatch(/bell\/tone: C sharp[\s\S]*tStop: 3\.1[\s\S]*worldToCamera: 1 0 0 0 0 1/);
  // SMPTE ST 268-1: the shutter angle in degrees.
  const dpx = readFileSync(framesOf(job, 'dpx-10')[0] as string);
  expect(dpx.readFloatBE(1728)).toBe(Math.fround(172.8));
});

test('a movie says its camera, place and time; an exposure index of the settings is marked as stated', async () => {
  const folder = freshFolder('stated');
  const path = join(folder, `${NAME}.mov`);
  await ffmpeg(
    ...['-f', 'lavfi', '-i', 'testsrc2=s=64x48:r=24:d=1', '-frames:v', '2', '-timecode', '01:00:00:00'],
    ...['-c:v', 'prores_ks', '-pix_fmt', 'yuv422p10le', '-movflags', 'use_metadata_tags'],
    ...['-metadata', 'com.apple.quicktime.make=Bell Works', '-metadata', 'com.apple.quicktime.model=Ladle 3'],
    ...['-metadata', 'com.apple.quicktime.creationdate=2026-11-25T19:06:17+0100'],
    ...['-metadata', 'com.apple.quicktime.location.ISO6709=+48.5000-011.2500+520.000/'],
    ...['-metadata', 'com.android.capture.fps=120.000000', '-metadata', 'com.bell.tuning=C'],
    path,
  );
  const job = await masterJob(
    { rollFolder: folder, place: { kind: 'movie', file: `${NAME}.mov` }, facts: await factsOf(path) },
    freshFolder('delivery'),
    ['grading-master-exr'],
    { ...interpretation, input: { name: 'logc3-awg3', ei: 1280 } },
  );
  await made(job, 'grading-master-exr');
  const header = headerOf(framesOf(job, 'grading-master-exr')[1] as string);
  for (const part of [
    'cameraMake (type string): "Bell Works"',
    'cameraModel (type string): "Ladle 3"',
    'capDate (type string): "2026:11:25 19:06:17"',
    'utcOffset (type float): -3600',
    'latitude (type float): 48.5',
    'longitude (type float): -11.25',
    'altitude (type float): 520',
    'captureRate (type rational): 120/1',
    'isoSpeed (type float): 1280',
    'statedByHand (type string): "isoSpeed"',
    `sourceFile (type string): "${NAME}.mov"`,
    'sourceFrame (type string): "1"',
  ])
    expect(header).toContain(part);
  expect(leftOf(job, 'grading-master-exr')).toEqual(['com.bell.tuning']);
});

test('DPX frames say camera, date, slate and shutter angle', async () => {
  const roll = freshFolder('stated');
  mkdirSync(join(roll, NAME));
  const path = join(roll, NAME, `${NAME}.1001.dpx`);
  // Of ffmpeg's headers the film and television parts are not there.
  await outputOf('oiiotool', [
    ...['--pattern', 'fill:top=0.1,0.2,0.3:bottom=0.5,0.4,1', '64x48', '3', '-d', 'uint10', '-o', path],
  ]);
  // SMPTE ST 268-1: device at 1556, its number at 1588, date at 1532, shutter angle at 1728, slate at 1764.
  const bytes = readFileSync(path);
  for (const [at, text] of [
    [1532, '2026:11:25:10:20:30\0'],
    [1556, 'Ladle\0'],
    [1588, '4711\0'],
    [1764, '12A take 3\0'],
  ] as const)
    bytes.write(text, at, 'latin1');
  // oiiotool writes the order of its machine.
  if (bytes.toString('latin1', 0, 4) === 'SDPX') bytes.writeFloatBE(172.8, 1728);
  else bytes.writeFloatLE(172.8, 1728);
  writeFileSync(path, bytes);
  const job = await masterJob(
    await sequenceClip(roll, numberedFrames('.dpx', { padding: 4, count: 1 })),
    freshFolder('delivery'),
    ['grading-master-exr', 'dpx-10'],
  );
  await made(job, 'grading-master-exr', 'dpx-10');
  const header = headerOf(framesOf(job, 'grading-master-exr')[0] as string);
  for (const part of [
    'cameraLabel (type string): "Ladle"',
    'cameraSerialNumber (type string): "4711"',
    'capDate (type string): "2026:11:25 10:20:30"',
    'shutterAngle (type float): 172.8',
    'slate (type string): "12A take 3"',
  ])
    expect(header).toContain(part);
  const dpx = readFileSync(framesOf(job, 'dpx-10')[0] as string);
  expect(dpx.toString('latin1', 1764, 1774)).toBe('12A take 3');
});
