/** The archive form on real clips: what comes out is the clip, sample for sample, by our proof and by programs that share nothing with it. */
import { execFileSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { copyFileSync, mkdirSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { checkDeliverable } from '../../check/index.ts';
import { layout } from '../../ledger/layout.ts';
import { deliverableReportSchema } from '../../ledger/report.ts';
import { readRecord } from '../../ledger/store.ts';
import { storedFingerprints } from '../../ledger/fingerprints.ts';
import { keptPixelFormats, keptPixels } from '../../profiles/lossless-pixel-formats.ts';
import { loadProfiles } from '../../profiles/load.ts';
import { isMasterOutcome } from '../../profiles/outcome/any.ts';
import { isMovie, type Profile } from '../../profiles/schema.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { everyRow, further } from '../support/lane.ts';
import { runJob } from '../../worker/job.ts';
import { type Made, makeAll, mediaTools } from '../support/make.ts';
import { ffmpeg, makeMovie } from '../support/media.ts';
import { jobFor, workContext } from '../support/work.ts';

const fixtures = join(dirname(import.meta.dirname), 'fixtures', 'movies');

async function profilesNamed(...wanted: string[]): Promise<Profile[]> {
  const { profiles, findings } = await loadProfiles({ wanted });
  expect(findings).toEqual([]);
  return profiles.filter(isMovie).map(({ profile }) => profile);
}

async function archived(source: string, folder: string): Promise<Made> {
  const [made] = await makeAll(source, await profilesNamed('archive-ffv1'), folder);
  return made as Made;
}

/** MD5 of the whole decode of streams, by one other run of ffmpeg, in the form named: our proof uses SHA-256 of each picture. */
function decoded(
  streams: readonly (readonly [path: string, stream: string, form: readonly string[]])[],
): string[] {
  const reported = execFileSync(
    'ffmpeg',
    [
      ...['-v', 'error', '-y'],
      ...streams.flatMap(([path]) => ['-i', path]),
      ...streams.flatMap(([, stream, form], input) => [
        ...['-map', `${input}:${stream}`, ...form, '-f', 'hash', '-hash', 'md5'],
        join(sharedFolder, `decoded-${process.pid}-${input}.md5`),
      ]),
    ],
    { encoding: 'utf8' },
  );
  expect(reported).toBe('');
  return streams.map((_, input) =>
    readFileSync(join(sharedFolder, `decoded-${process.pid}-${input}.md5`), 'utf8').trim(),
  );
}
/** Without a format: in the stream's own. */
const pictures = (paths: readonly string[], pixelFormat?: string): string[] =>
  decoded(
    paths.map((path) => [
      path,
      'v:0',
      [
        ...['-fps_mode', 'passthrough'],
        ...(pixelFormat === undefined ? [] : ['-pix_fmt', pixelFormat]),
        ...['-c:v', 'rawvideo'],
      ],
    ]),
  );

const tagged = 'setparams=color_primaries=bt709:color_trc=bt709:colorspace=bt709:range=tv';

interface ClipOptions {
  readonly size?: string;
  readonly rate?: string;
  readonly frames?: number;
  readonly timecode?: string;
  readonly filter?: string;
  /** Output options of the picture. */
  readonly picture?: readonly string[];
  /** Of each audio track. */
  readonly audioTracks?: readonly (readonly string[])[];
}

/** Clips by one ffmpeg, each with pictures of `size`. */
async function clips(wanted: readonly (readonly [path: string, options: ClipOptions])[]): Promise<void> {
  const inputs: string[] = [];
  const outputs: string[] = [];
  let input = 0;
  for (const [path, options] of wanted) {
    const { size = '96x64', rate = '25', frames = 12, timecode = '10:00:00:00' } = options;
    const { filter = tagged, picture = [], audioTracks = [] } = options;
    mkdirSync(dirname(path), { recursive: true });
    inputs.push('-f', 'lavfi', '-i', `testsrc2=s=${size}:r=${rate}`);
    outputs.push('-map', `${input}:v`);
    outputs.push('-vf', `trim=end_frame=${frames},noise=alls=6:allf=t,${filter}`, ...picture);
    input += 1;
    for (const [index, track] of audioTracks.entries()) {
      inputs.push('-f', 'lavfi', '-i', `anoisesrc=r=48000:seed=${index + 1}:a=0.3`);
      outputs.push('-map', `${input}:a`);
      outputs.push(
        ...track.flatMap((option) => (option.startsWith('-') ? [`${option}:a:${index}`] : [option])),
      );
      outputs.push(`-filter:a:${index}`, `atrim=end_sample=${23_000 + 1000 * index}`);
      input += 1;
    }
    outputs.push('-timecode', timecode, '-metadata:s:v:0', 'reel_name=B007', path);
  }
  await ffmpeg(...inputs, ...outputs);
}

async function clip(path: string, options: ClipOptions): Promise<string> {
  await clips([[path, options]]);
  return path;
}

/** `as`: the layout of all samples and nothing else, where those of clip and file differ. */
type Case = readonly [title: string, options: ClipOptions, wanted: Record<string, unknown>, as?: string];
const x264 = ['-c:v', 'libx264', '-preset', 'ultrafast', '-pix_fmt'];
const older = (format: string): string[] => ['-c:v', 'ffv1', '-level', '1', '-pix_fmt', format];

describe('every kind of clip comes out sample for sample', () => {
  const cases: readonly Case[] = [
    [
      '8-bit 4:2:0 that codes ahead',
      { picture: [...x264, 'yuv420p', '-bf', '2'] },
      { pixelFormat: 'yuv420p', fieldOrder: 'progressive' },
    ],
    [
      '8-bit full range under its older name',
      {
        picture: [...x264, 'yuvj420p'],
        filter: 'format=yuvj420p,setparams=color_primaries=bt709:color_trc=bt709:colorspace=bt709:range=pc',
      },
      {
        pixelFormat: 'yuv420p',
        colour: { primaries: 'bt709', transfer: 'bt709', matrix: 'bt709', range: 'full' },
      },
    ],
    [
      'nothing tagged',
      { picture: [...x264, 'yuv420p'], filter: 'null' },
      { colour: { primaries: null, transfer: null, matrix: null, range: null } },
    ],
    [
      'RGB of 8 bits in four bytes',
      { picture: older('bgr0'), filter: 'format=bgr0' },
      { pixelFormat: 'bgr0' },
      'gbrp',
    ],
    [
      '4:4:4 with alpha',
      { picture: older('yuva444p10le'), filter: 'format=yuva444p10le' },
      { pixelFormat: 'yuva444p10le' },
    ],
    [
      'odd width and height',
      { picture: older('yuv420p'), filter: `scale=97:63,format=yuv420p,setsar=1,${tagged}` },
      { width: 97, height: 63, pixelFormat: 'yuv420p', exact: { comparedIn: 'yuv420p', slices: 12 } },
    ],
    [
      'drop-frame at 29.97',
      { picture: [...x264, 'yuv420p'], rate: '30000/1001', timecode: '00:59:59;20', frames: 30 },
      { timecode: { frame: 107_882, base: 30, drop: true } },
    ],
    [
      '120 frames a second',
      { picture: [...x264, 'yuv420p'], rate: '120', frames: 30 },
      { rate: { num: 120, den: 1 } },
    ],
    [
      'pixels of a shape that no whole width of the picture tells',
      { picture: [...x264, 'yuv420p'], size: '90x60', filter: `${tagged},setsar=32/27` },
      { pixelAspect: { num: 32, den: 27 }, width: 90 },
    ],
    [
      'the lower field first',
      {
        picture: ['-c:v', 'dvvideo', '-top', '0'],
        size: '720x576',
        frames: 4,
        filter: 'format=yuv420p,setsar=16/15,setfield=bff',
      },
      { fieldOrder: 'bottom-first', pixelAspect: { num: 16, den: 15 } },
    ],
    ...further<Case>(
      [
        '10-bit 4:2:2',
        { picture: ['-c:v', 'prores_ks', '-profile:v', '3', '-pix_fmt', 'yuv422p10le'], rate: '24000/1001' },
        {
          pixelFormat: 'yuv422p10le',
          colour: { primaries: 'bt709', transfer: 'bt709', matrix: 'bt709', range: 'limited' },
        },
      ],
      [
        '10-bit full range',
        {
          picture: [...x264, 'yuv422p10le'],
          filter:
            'format=yuv422p10le,setparams=color_primaries=bt2020:color_trc=smpte2084:colorspace=bt2020nc:range=pc',
        },
        {
          pixelFormat: 'yuv422p10le',
          colour: { primaries: 'bt2020', transfer: 'pq', matrix: 'bt2020', range: 'full' },
        },
      ],
      [
        'RGB of 10 bits',
        { picture: ['-c:v', 'r210'], filter: 'format=gbrp10le' },
        { pixelFormat: 'gbrp10le' },
      ],
      [
        'RGB of 16 bits, packed',
        { picture: ['-c:v', 'tiff', '-pix_fmt', 'rgb48le'], filter: 'format=rgb48le' },
        { pixelFormat: 'gbrp16le' },
        'gbrp16le',
      ],
      [
        'grey of 16 bits',
        { picture: older('gray16le'), filter: 'format=gray16le' },
        { pixelFormat: 'gray16le' },
      ],
      [
        '60 frames a second less a thousandth',
        { picture: [...x264, 'yuv420p'], rate: '60000/1001', frames: 40 },
        { rate: { num: 60000, den: 1001 } },
      ],
      [
        'the upper field first',
        {
          picture: [
            '-c:v',
            'mpeg2video',
            '-flags',
            '+ildct+ilme',
            '-top',
            '1',
            '-q:v',
            '3',
            '-pix_fmt',
            'yuv422p',
          ],
          filter: `${tagged},setfield=tff`,
        },
        { fieldOrder: 'top-first', pixelFormat: 'yuv422p' },
      ],
    ),
  ];
  const folder = join(sharedFolder, 'archive-kinds');
  const sourceOf = (row: number): string => join(folder, String(row), 'B007C001.mov');
  beforeAll(async () => {
    await clips(cases.map(([, options], row) => [sourceOf(row), options]));
  });
  test.each(cases.map(([title, options, wanted, as], row) => ({ title, options, wanted, as, row })))(
    '$title',
    async ({ options, wanted, as, row }) => {
      const source = sourceOf(row);
      const { path, outcome, checked } = await archived(source, dirname(source));
      expect(checked.findings).toEqual([]);
      expect(checked.passed).toBe(true);
      expect(outcome).toMatchObject(wanted);
      expect(checked.results.find(({ check }) => check === 'lossless')?.measured).toContain(
        `${options.frames ?? 12} of ${options.frames ?? 12} pictures`,
      );
      const [kept, given] = pictures([path, source], as);
      expect(kept).toBe(given);
      expect(statSync(path).size).toBeLessThan(outcome.estimatedBytes);
    },
  );

  test('every track in its own form, as long as it is, whatever the picture', async () => {
    const folder = freshFolder('archive');
    const forms = [
      ['s16le', 1],
      ['s24le', 2],
      ['s32le', 1],
      ['f32le', 2],
      ['u8', 1],
    ] as const;
    const source = await clip(join(folder, 'B007C002.mov'), {
      picture: [...x264, 'yuv420p'],
      audioTracks: [
        ...forms.map(([form, channels]) => ['-c', `pcm_${form}`, '-ac', String(channels)]),
        ['-c', 'pcm_s16be', '-ac', '6'],
      ],
    });
    const { path, outcome, checked } = await archived(source, folder);
    expect(checked.findings).toEqual([]);
    expect(outcome.audio.map(({ codec, samples, channels }) => [codec, samples, channels])).toEqual([
      ...forms.map(([form, channels], index) => [`pcm_${form}`, 23_000 + 1000 * index, channels]),
      ['pcm_s16le', 28_000, 6],
    ]);
    const tracks = (file: string): (readonly [string, string, readonly string[]])[] =>
      [...forms, ['s16le'] as const].map(([form], index) => [file, `a:${index}`, ['-c:a', `pcm_${form}`]]);
    const digests = decoded([...tracks(path), ...tracks(source)]);
    expect(digests.slice(0, 6)).toEqual(digests.slice(6));
    expect(new Set(digests).size).toBe(6);
  });

  test('interlaced MPEG-2 of a camera keeps its fields, beside a proxy of frames that is made of the same decode', async () => {
    const folder = freshFolder('archive');
    const cutting = join(folder, 'frames.yaml');
    writeFileSync(
      cutting,
      'version: 1\nname: frames\nsummary: Frames of fields\nextends: editorial-vc3\ninterlaced: deinterlace\ntimecode: { missing: zero }\n',
    );
    const own = join(folder, 'shelf.yaml');
    writeFileSync(
      own,
      'version: 1\nname: shelf\nsummary: For the shelf\nextends: archive-ffv1\ntimecode: { missing: zero }\n',
    );
    const source = join(fixtures, 'mpeg2-1080i50.mov');
    const [proxy, kept] = (await makeAll(source, await profilesNamed(cutting, own), folder)) as [Made, Made];
    expect([proxy.checked.findings, kept.checked.findings]).toEqual([[], []]);
    expect(kept.outcome).toMatchObject({ fieldOrder: 'top-first' });
    const [ours, theirs] = pictures([kept.path, source]);
    expect(ours).toBe(theirs);
    expect(mediaInfo(kept.path, 'Video')).toMatchObject({ ScanType: 'Interlaced', ScanOrder: 'TFF' });
  });
});

function mediaInfo(path: string, type: string): Readonly<Record<string, unknown>> | undefined {
  const { media } = JSON.parse(execFileSync('mediainfo', ['--Output=JSON', path], { encoding: 'utf8' })) as {
    media: { track: Readonly<Record<string, unknown>>[] };
  };
  return media.track.find((track) => track['@type'] === type);
}

describe('other programs', () => {
  test('MediaInfo reads version, slices, checksums, timecode, reel and colours', async () => {
    const folder = freshFolder('archive');
    const source = await clip(join(folder, 'B007C003.mov'), {
      picture: ['-c:v', 'prores_ks', '-pix_fmt', 'yuv422p10le'],
      rate: '30000/1001',
      timecode: '00:59:59;20',
      audioTracks: [['-c', 'pcm_s24le', '-ac', '2']],
    });
    const { path } = await archived(source, folder);
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

  test('the bytes do not depend on the number of threads', async () => {
    const folder = freshFolder('archive');
    const source = await clip(join(folder, 'B007C004.mov'), {
      size: '320x180',
      picture: [...x264, 'yuv420p'],
      audioTracks: [['-c', 'pcm_s16le']],
    });
    const profiles = await profilesNamed('archive-ffv1');
    const digests: string[] = [];
    for (const threads of [1, ...further(2), 5]) {
      const [made] = await makeAll(source, profiles, join(folder, String(threads)), threads);
      digests.push(
        createHash('sha256')
          .update(readFileSync(made?.path ?? ''))
          .digest('hex'),
      );
    }
    expect(new Set(digests).size).toBe(1);
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

describe('every pixel format that is taken', () => {
  test('is one that this encoder takes as it is', () => {
    const taken =
      /Supported pixel formats: (.*)/
        .exec(execFileSync('ffmpeg', ['-v', 'error', '-h', 'encoder=ffv1'], { encoding: 'utf8' }))?.[1]
        ?.trim()
        .split(' ') ?? [];
    expect(taken.length).toBeGreaterThan(40);
    expect(
      keptPixelFormats
        .map((format) => keptPixels(format)?.encodedAs ?? '')
        .filter((format) => !taken.includes(format)),
    ).toEqual([]);
    // And no other is left out.
    expect(taken.filter((format) => keptPixels(format) === null)).toEqual([]);
  });

  /** Every format but those whose older name says the range as well. */
  const formats = keptPixelFormats.filter((format) => !format.startsWith('yuvj'));
  const raw = (format: string): string[] => ['-f', 'rawvideo', '-pix_fmt', format, '-s', '36x28', '-r', '25'];
  const hashed = (pixelFormat: string): string[] => [
    ...['-pix_fmt', pixelFormat, '-c:v', 'rawvideo', '-f', 'hash', '-hash', 'md5'],
  ];
  let folder = '';
  /** Files of all formats by a few programs: a start costs more than the three small pictures. */
  beforeAll(async () => {
    folder = join(sharedFolder, 'archive-pixels');
    mkdirSync(folder, { recursive: true });
    const path = (format: string, ending: string): string => join(folder, `${format}.${ending}`);
    // Noise, so that no plane is flat.
    await ffmpeg(
      ...['-f', 'lavfi', '-i', 'testsrc2=s=36x28:r=25,noise=alls=20:allf=t'],
      ...formats.flatMap((format) => [
        ...['-map', '0:v', '-frames:v', '3', '-pix_fmt', format, '-f', 'rawvideo', path(format, 'raw')],
      ]),
    );
    await ffmpeg(
      ...formats.flatMap((format) => [...raw(format), '-i', path(format, 'raw')]),
      ...formats.flatMap((format, index) => [
        ...['-map', `${index}:v`, '-c:v', 'ffv1', '-level', '3', '-coder', '1', '-g', '1'],
        ...['-slices', '16', '-slicecrc', '1', '-pix_fmt', format, path(format, 'mkv')],
      ]),
    );
    const comparedIn = (format: string): string => keptPixels(format)?.comparedIn ?? '';
    await ffmpeg(
      ...formats.flatMap((format) => ['-i', path(format, 'mkv'), ...raw(format), '-i', path(format, 'raw')]),
      ...formats.flatMap((format, index) => [
        ...['-map', `${2 * index}:v`, ...hashed(comparedIn(format)), path(format, 'kept.md5')],
        ...['-map', `${2 * index + 1}:v`, ...hashed(comparedIn(format)), path(format, 'given.md5')],
      ]),
    );
  }, 240_000);

  test.each(formats.map((format) => [format]))('%s comes back the same to the bit', (format) => {
    const [kept, given] = (['kept', 'given'] as const).map((name) =>
      readFileSync(join(folder, `${format}.${name}.md5`), 'utf8').trim(),
    );
    expect(given).toMatch(/^MD5=[0-9a-f]{32}$/);
    expect(kept).toBe(given);
  });

  test('and only those that lay out an opaque picture alike are the same bytes', () => {
    // Were one file read in the place of all, every line above would pass. Without alpha in the source bgra is bgr0 with the filler full.
    const bytes = formats.map((format) => readFileSync(join(folder, `${format}.raw`)).toString('base64'));
    expect(
      formats.filter(
        (_, index) => bytes.indexOf(bytes[index] as string) !== bytes.lastIndexOf(bytes[index] as string),
      ),
    ).toEqual(formats.filter((format) => format === 'bgr0' || format === 'bgra'));
  });

  test('each is read back under the name that is written down for it', () => {
    // One file with a stream for each, copied without another encode.
    const all = join(folder, 'all.mkv');
    execFileSync('ffmpeg', [
      ...['-v', 'error', '-y'],
      ...formats.flatMap((format) => ['-i', join(folder, `${format}.mkv`)]),
      ...formats.flatMap((_, index) => ['-map', `${index}:v`]),
      ...['-c', 'copy', all],
    ]);
    const reported = execFileSync(
      'ffprobe',
      ['-v', 'error', '-show_entries', 'stream=pix_fmt', '-of', 'csv=p=0', all],
      {
        encoding: 'utf8',
      },
    );
    expect(reported.trim().split('\n')).toEqual(formats.map((format) => keptPixels(format)?.readBackAs));
  });
});

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
    'one sample of colour': [
      '-vf',
      "geq=lum='lum(X,Y)':cb='cb(X,Y)':cr='cr(X,Y)-eq(N,11)*eq(X,1)*eq(Y,1)':interpolation=nearest",
    ],
    'two frames exchanged': ['-vf', 'shuffleframes=0 1 2 3 4 5 7 6 8 9 10 11'],
    'other levels': ['-vf', 'lutyuv=y=val+1'],
    'a frame dropped': ['-vf', "select='not(eq(n,5))',setpts=N*1001/30000/TB"],
    'one sample of audio': [
      ...['-c:a', 'pcm_s24le', '-filter:a'],
      "aeval='val(0)+eq(n,12345)/8388608|val(1)'",
    ],
    'audio without its last sample': ['-c:a', 'pcm_s24le', '-filter:a', 'atrim=end_sample=22999'],
    ...(everyRow
      ? {
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
    ['a label without drop-frame', ['-metadata', 'timecode=00:59:59:20'], 'timecode-differs'],
    ['another reel', ['-metadata:s:v:0', 'reel_name=B008'], 'reel-differs'],
    ['another range', ['-color_range', 'pc'], 'colour-tags-differ'],
    ['no checksums in the slices', ['-slicecrc', '0'], 'codec-differs'],
    ['frames that lean on others', ['-g', '6'], 'codec-differs'],
    [
      'the older version of the codec',
      ['-level', '1', '-slices', '1', '-slicecrc', '0'],
      'deliverable-unreadable',
    ],
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
    ['one sample of colour', /frame 11 on: frame 11$/],
    [
      'two frames exchanged',
      /frame 6 on: frame 6 \(the samples of source frame 7\), frame 7 \(the samples of source frame 6\)$/,
    ],
    ['other levels', /frame 0 on: frame 0, frame 1, frame 2, frame 3 and 8 more$/],
    ...further<readonly [title: string, found: RegExp]>(
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

describe('what the form has no place for is held, and said', () => {
  test.each<[title: string, make: (path: string) => Promise<string>, found: string, expected: string]>([
    [
      'RGB in three bytes',
      (path) => clip(path, { picture: ['-c:v', 'qtrle', '-pix_fmt', 'rgb24'], filter: 'format=rgb24' }),
      'pixel format rgb24',
      'gbrp10le',
    ],
    [
      'floating point',
      (path) => clip(path, { picture: ['-c:v', 'exr', '-pix_fmt', 'gbrpf32le'], filter: 'format=gbrpf32le' }),
      'pixel format gbrpf32le',
      'gbrp16le',
    ],
    [
      'compressed audio',
      (path) => makeMovie(path, { codec: 'h264', extra: ['-c:a', 'aac'] }),
      'track 1: aac',
      'pcm_s24le',
    ],
  ])('%s', async (_title, make, found, expected) => {
    const folder = freshFolder('held');
    const source = await make(join(folder, 'B007C006.mov'));
    const held = await archived(source, folder).then(
      () => '[]',
      (error: Error) => error.message,
    );
    const findings = JSON.parse(held) as { code: string; found: string; expected: string }[];
    expect(
      findings.find((item) => item.code === 'not-representable' && item.found === found)?.expected,
    ).toContain(expected);
  });

  test('a picture that is to be turned', async () => {
    const folder = freshFolder('held');
    await expect(archived(join(fixtures, 'rotated-90.mov'), folder)).rejects.toThrow(
      'a picture to be turned by 90 degrees',
    );
  });
});
