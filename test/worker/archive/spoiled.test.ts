/** The archive form: what is not the clip is found, and where; what is, is read by others, and proved once more without the clip. */
import { execFileSync } from 'node:child_process';
import { copyFileSync, mkdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { checkDeliverable } from '../../../check/index.ts';
import { storedFingerprints } from '../../../ledger/fingerprints.ts';
import { layout } from '../../../ledger/layout.ts';
import { deliverableReportSchema } from '../../../ledger/report.ts';
import { readRecord } from '../../../ledger/store.ts';
import { isMasterOutcome } from '../../../profiles/outcome/any.ts';
import { runJob } from '../../../worker/job.ts';
import { freshFolder, sharedFolder } from '../../support/folder.ts';
import { everyRow, further } from '../../support/lane.ts';
import { type Made, mediaTools } from '../../support/make.ts';
import { ffmpeg } from '../../support/media.ts';
import { jobFor, workContext } from '../../support/work.ts';
import { archived, clip, mediaInfo, x264 } from './support.ts';

describe('what is not the clip is found, and where', () => {
  let good: Made;
  let folder = '';
  beforeAll(async () => {
    folder = join(sharedFolder, 'archive-good');
    mkdirSync(folder, { recursive: true });
    const source = await clip(join(folder, 'B007C005.mov'), {
      picture: ['-c:v', 'prores_ks', '-pix_fmt', 'yuv422p10le'],
      rate: '30000/1001',
      timecode: '00:59:59;20',
      audioTracks: [['-c', 'pcm_s24le', '-ac', '2']],
    });
    good = await archived(source, folder);
    expect(good.checked.findings).toEqual([]);
    await makeSpoiled();
  });

  test('MediaInfo reads version, slices, checksums, timecode, reel and colours', () => {
    const { path } = good;
    expect(mediaInfo(path, 'General')).toMatchObject({
      Format: 'Matroska',
      extra: { ErrorDetectionType: 'Per level 1' },
    });
    expect(mediaInfo(path, 'Video')).toMatchObject({
      ...{
        Format: 'FFV1',
        Format_Version: '3.4',
        Format_Settings_GOP: 'N=1',
        FrameRate_Num: '30000',
        FrameRate_Den: '1001',
        ColorSpace: 'YUV',
        ChromaSubsampling: '4:2:2',
        BitDepth: '10',
      },
      ...{
        ScanType: 'Progressive',
        Compression_Mode: 'Lossless',
        colour_primaries: 'BT.709',
        extra: {
          REEL_NAME: 'B007',
          MaxSlicesCount: '16',
          ErrorDetectionType: 'Per slice',
          coder_type: 'Range Coder',
        },
      },
    });
    expect(mediaInfo(path, 'Audio')).toMatchObject({ Format: 'PCM', BitDepth: '24', Channels: '2' });
    expect(
      execFileSync('mediainfo', ['--Inform=General;%TimeCode_FirstFrame%', path], {
        encoding: 'utf8',
      }).trim() || execFileSync('mediainfo', [path], { encoding: 'utf8' }),
    ).toContain('00:59:59;20');
  });

  const inMatroska = [
    '-map_metadata',
    '-1',
    '-fflags',
    '+bitexact',
    '-flags:v',
    '+bitexact',
    '-metadata',
    'timecode=00:59:59;20',
    '-metadata:s:v:0',
    'reel_name=B007',
    '-f',
    'matroska',
  ];
  const ffv1 = ['-c:v', 'ffv1', '-level', '3', '-coder', '1', '-g', '1', '-slices', '16', '-slicecrc', '1'];
  const spoiledFolder = join(sharedFolder, 'archive-spoiled');
  /** Spoiled files, by what is wrong with them: the good one through these options, every other thing about it as it was. */
  const remade: Readonly<Record<string, readonly string[]>> = {
    'coded again': ['-slices', '4'],
    'one sample by its lowest bit': [
      '-vf',
      "geq=lum='lum(X,Y)+eq(N,7)*eq(X,40)*eq(Y,21)':cb='cb(X,Y)':cr='cr(X,Y)':interpolation=nearest",
    ],
    'two frames exchanged': ['-vf', 'shuffleframes=0 1 2 3 4 5 7 6 8 9 10 11'],
    'a frame dropped': ['-vf', "select='not(eq(n,5))',setpts=N*1001/30000/TB"],
    'one sample of audio': [
      ...['-c:a', 'pcm_s24le', '-filter:a'],
      "aeval='val(0)+eq(n,12345)/8388608|val(1)'",
    ],
    'audio without its last sample': ['-c:a', 'pcm_s24le', '-filter:a', 'atrim=end_sample=22999'],
    ...(everyRow
      ? {
          'one sample of colour': [
            '-vf',
            "geq=lum='lum(X,Y)':cb='cb(X,Y)':cr='cr(X,Y)-eq(N,11)*eq(X,1)*eq(Y,1)':interpolation=nearest",
          ],
          'other levels': ['-vf', 'lutyuv=y=val+1'],
          'one line of one field': [
            '-vf',
            "geq=lum='lum(X,Y)+2*eq(N,3)*eq(Y,33)':cb='cb(X,Y)':cr='cr(X,Y)':interpolation=nearest",
          ],
          'one frame in place of another': ['-vf', 'shuffleframes=0 1 2 3 4 4 6 7 8 9 10 11'],
        }
      : {}),
  };
  /** The same with options behind those of the form, and codes that each must bring. */
  const otherForm: readonly (readonly [title: string, options: readonly string[], code: string])[] = [
    ['another label', ['-metadata', 'timecode=00:59:59;21'], 'timecode-differs'],
    ['another reel', ['-metadata:s:v:0', 'reel_name=B008'], 'reel-differs'],
    ['another range', ['-color_range', 'pc'], 'colour-tags-differ'],
    ['no checksums in the slices', ['-slicecrc', '0'], 'codec-differs'],
    ...further<readonly [title: string, options: readonly string[], code: string]>(
      ['a label without drop-frame', ['-metadata', 'timecode=00:59:59:20'], 'timecode-differs'],
      ['frames that lean on others', ['-g', '6'], 'codec-differs'],
      [
        'the older version of the codec',
        ['-level', '1', '-slices', '1', '-slicecrc', '0'],
        'deliverable-unreadable',
      ],
    ),
  ];
  const spoiledFile = (title: string): string => join(spoiledFolder, title, 'B007C005.mkv');
  async function makeSpoiled(): Promise<void> {
    const streams = ['-map', '0:v', '-map', '0:a'];
    const outputs = [
      ...Object.entries(remade).map(([title, options]) => [
        ...streams,
        ...ffv1,
        ...(options.includes('-c:a') ? [] : ['-c:a', 'copy']),
        ...options,
        ...inMatroska,
        spoiledFile(title),
      ]),
      ...otherForm.map(([title, options]) => [
        ...[...streams, ...ffv1, '-c:a', 'copy'],
        ...[...inMatroska, ...options, spoiledFile(title)],
      ]),
    ];
    for (const output of outputs) mkdirSync(dirname(output.at(-1) as string), { recursive: true });
    await ffmpeg('-i', good.path, ...outputs.flat());
  }
  const losslessOf = ({ findings }: Awaited<ReturnType<Made['check']>>): string[] =>
    findings
      .filter(({ code }) => code === 'pictures-not-kept' || code === 'audio-not-kept')
      .map(({ found }) => found);

  test('coded again, and nothing else: the same samples, by other packets', async () => {
    const checked = await good.check(spoiledFile('coded again'));
    expect(checked.findings.map(({ code }) => code).sort()).toEqual(['bitstream-differs', 'codec-differs']);
  });

  test.each<readonly [title: string, found: RegExp]>([
    ['one sample by its lowest bit', /^other samples from frame 7 on: frame 7$/],
    [
      'two frames exchanged',
      /frame 6 on: frame 6 \(the samples of source frame 7\), frame 7 \(the samples of source frame 6\)$/,
    ],
    ...further<readonly [title: string, found: RegExp]>(
      ['one sample of colour', /frame 11 on: frame 11$/],
      ['other levels', /frame 0 on: frame 0, frame 1, frame 2, frame 3 and 8 more$/],
      ['one line of one field', /frame 3 on: frame 3$/],
      ['one frame in place of another', /frame 5 on: frame 5 \(the samples of source frame 4\)$/],
    ),
  ])('%s', async (title, found) => {
    const checked = await good.check(spoiledFile(title));
    expect(losslessOf(checked)).toEqual([expect.stringMatching(found)]);
    expect(checked.passed).toBe(false);
  });

  test('a frame dropped', async () => {
    const checked = await good.check(spoiledFile('a frame dropped'));
    expect(losslessOf(checked)).toEqual(['11 pictures, of 12 of the source']);
    expect(checked.findings.map(({ code }) => code)).toContain('frame-count-differs');
  });

  test('one sample of audio', async () => {
    const checked = await good.check(spoiledFile('one sample of audio'));
    expect(losslessOf(checked)).toEqual(['track 1: other samples']);
  });

  test('audio without its last sample', async () => {
    const checked = await good.check(spoiledFile('audio without its last sample'));
    expect(checked.findings.map(({ code }) => code)).toEqual(
      expect.arrayContaining(['audio-differs', 'audio-not-kept']),
    );
  });

  /** The good file with one byte changed: what the element at `at` holds. */
  function flipped(find: (bytes: Buffer) => number): string {
    const path = join(freshFolder('spoiled'), 'B007C005.mkv');
    copyFileSync(good.path, path);
    const bytes = readFileSync(path);
    const at = find(bytes);
    bytes[at] = (bytes[at] as number) ^ 0x10;
    writeFileSync(path, bytes);
    return path;
  }

  test.each<[title: string, find: (bytes: Buffer) => number, codes: readonly string[]]>([
    ['a packet', (bytes) => Math.floor(bytes.length / 2), ['deliverable-unreadable', 'bitstream-differs']],
    [
      'the configuration record',
      (bytes) => bytes.indexOf('FFV1', 256, 'latin1') + 60,
      ['deliverable-unreadable'],
    ],
    ['the label', (bytes) => bytes.indexOf('00:59:59;20') + 10, ['deliverable-unreadable']],
  ])('one bit of %s', async (_title, find, codes) => {
    const checked = await good.check(flipped(find));
    expect(checked.passed).toBe(false);
    expect(checked.findings.map(({ code }) => code)).toEqual(expect.arrayContaining([...codes]));
  });

  test.each(otherForm)('%s', async (title, _options, code) => {
    expect((await good.check(spoiledFile(title))).findings.map((item) => item.code)).toContain(code);
  });

  test('a file that is cut off', async () => {
    const path = join(freshFolder('spoiled'), 'B007C005.mkv');
    writeFileSync(path, readFileSync(good.path).subarray(0, -1));
    expect((await good.check(path)).findings.map(({ code }) => code)).toContain('deliverable-unreadable');
  });
});

test('proved once more years later, without the clip, by the hashes that were kept with its fingerprints', async () => {
  const folder = freshFolder('archive');
  const source = await clip(join(folder, 'A001', 'B007C007.mov'), {
    picture: [...x264, 'yuv420p'],
    audioTracks: [['-c', 'pcm_s16le', '-ac', '2']],
  });
  const job = await jobFor(source, join(folder, 'delivery'), ['archive-ffv1']);
  await runJob(job, await workContext());
  const read = await readRecord(
    layout.deliverableReport(job.deliveryFolder, 'B007C007', 'archive-ffv1'),
    deliverableReportSchema,
  );
  if (read.state !== 'read') throw new Error(read.state);
  const { value: report } = read;
  expect(report.state).toBe('published');
  rmSync(source);
  const { fingerprints } = await storedFingerprints(report, job.deliveryFolder, {});
  expect(fingerprints?.exact?.pictures).toHaveLength(12 * 32);
  const retryable = async (kept: typeof fingerprints): Promise<unknown> => {
    const [deliverable] = job.deliverables;
    if (deliverable === undefined || isMasterOutcome(deliverable.outcome)) throw new Error('no movie');
    const checked = await checkDeliverable({
      path: join(job.deliveryFolder, report.file?.path ?? ''),
      outcome: deliverable.outcome,
      checks: ['lossless', 'reel'],
      sourceFacts: null,
      sourceFingerprints: kept,
      encoded: report.bitstream ?? null,
      sketch: null,
      tools: await mediaTools(),
    });
    return { passed: checked.passed, codes: checked.findings.map(({ code }) => code) };
  };
  expect(await retryable(fingerprints)).toEqual({ passed: true, codes: [] });
  // Fingerprints of before there were hashes proves less, and that is said.
  const { exact: _, ...older } = fingerprints ?? {};
  expect(await retryable(older as typeof fingerprints)).toEqual({ passed: false, codes: ['check-not-run'] });
});
