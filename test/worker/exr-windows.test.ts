/**
 * OpenEXR sources whose data window is not their display window, or whose display window begins elsewhere than at (0, 0): the master holds
 * the display window, 0 where the file holds nothing. Files by OpenImageIO's oiiotool, and the pictures compared with its own reading.
 */
import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { surveySequence } from '../../coordinator/survey/sequence.ts';
import { layout } from '../../ledger/layout.ts';
import type { Job } from '../../ledger/job.ts';
import { attributesOf } from '../../check/master/exr/header.ts';
import { readPlaced } from '../../media/formats/exr/pixels.ts';
import { ownReadingFindings } from '../../worker/master/exr-spot.ts';
import { POINTS } from '../../proof/pixel-samples.ts';
import { runJob } from '../../worker/job.ts';
import { exrFrame } from '../support/exr.ts';
import { freshFolder } from '../support/folder.ts';
import { further } from '../support/lane.ts';
import { mediaTools } from '../support/make.ts';
import { interpretation, reportOf } from '../support/master.ts';
import { masterJob, numberedFrames, sequenceClip } from '../support/masters.ts';
import { outputOf } from '../support/pictures.ts';
import { workContext } from '../support/work.ts';

const NAME = 'A001C001';
const PROFILE = 'grading-master-exr';
const linear = { ...interpretation, input: { name: 'aces2065-1' as const } };
const [WIDTH, HEIGHT] = [160, 90];
const nameOf = (index: number): string => `${NAME}.${String(1001 + index).padStart(4, '0')}.exr`;

interface Windows {
  /** Of the data: size and first pixel. */
  readonly data: string;
  /** Of the display window. */
  readonly display: string;
}

/** One file for each; a picture in which no two pixels are alike. */
async function frames(roll: string, options: readonly string[], windows: readonly Windows[]): Promise<void> {
  mkdirSync(join(roll, NAME), { recursive: true });
  for (const [index, { data, display }] of windows.entries()) {
    const [, size = '', origin = ''] = /^(\d+x\d+)(.*)$/.exec(data) ?? [];
    await outputOf('oiiotool', [
      ...[
        '--pattern',
        `fill:topleft=${index},-0.1,0.05:topright=9,0,0.3:bottomleft=0.2,1,0:bottomright=4,1,70`,
      ],
      ...[size, '3', '--origin', origin, '--fullsize', display, '--nosoftwareattrib', ...options],
      ...['-o', join(roll, NAME, nameOf(index))],
    ]);
  }
}

async function made(roll: string, count: number): Promise<Job> {
  const clip = await sequenceClip(roll, numberedFrames('.exr', { padding: 4, count }));
  const job = await masterJob(clip, freshFolder('delivery'), [PROFILE], linear);
  await runJob(job, await workContext());
  expect(await reportOf(job, PROFILE)).toMatchObject({ state: 'published', findings: [] });
  return job;
}

/** `oiiotool` ends with another code than 0 where one value differs. */
async function compare(job: Job, roll: string, index: number): Promise<void> {
  const [work] = job.deliverables;
  const { outcome } = work as { outcome: { fileName: string; stem: string; first: number; digits: number } };
  const master = join(
    layout.profileFolder(job.deliveryFolder, PROFILE),
    outcome.fileName,
    `${outcome.stem}.${String(outcome.first + index).padStart(outcome.digits, '0')}.exr`,
  );
  const compared = await outputOf('oiiotool', [
    ...[join(roll, NAME, nameOf(index)), '--ch', 'R,G,B', '--croptofull', '--origin', '+0+0'],
    ...['--fullsize', `${WIDTH}x${HEIGHT}+0+0`, '-d', 'half', '-o', join(roll, 'shown.exr')],
    ...[join(roll, 'shown.exr'), master, '--fail', '0', '--warn', '0', '--diff'],
  ]);
  expect(compared.toString()).toContain('PASS');
}

describe('a picture is where its windows put it', () => {
  test.each<[string, string[], Windows[]]>([
    [
      'a display window from (100, 50) on, full of data; ZIP',
      ['-d', 'half', '--compression', 'zip'],
      [
        { data: '160x90+100+50', display: '160x90+100+50' },
        { data: '140x80+104+53', display: '160x90+100+50' },
      ],
    ],
    [
      'data beyond the display window on every side; floats, no compression',
      ['-d', 'float', '--compression', 'none'],
      [{ data: '200x120-20-15', display: '160x90+0+0' }],
    ],
    [
      'data within the display window; RLE',
      ['-d', 'half', '--compression', 'rle'],
      [{ data: '60x33+31+17', display: '160x90+0+0' }],
    ],
    [
      'a display window above and left of (0, 0), data partly beside it; ZIPS',
      ['-d', 'half', '--compression', 'zips'],
      [
        { data: '160x90-20-10', display: '160x90-80-45' },
        { data: '90x90-120-90', display: '160x90-80-45' },
      ],
    ],
    [
      'data wholly beside the display window: black',
      ['-d', 'half', '--compression', 'zip'],
      [{ data: '160x90+0+0', display: '160x90+0-180' }],
    ],
    [
      'PIZ, decoded by ffmpeg: data beyond and within the display window from (0, 0)',
      ['-d', 'half', '--compression', 'piz'],
      [
        { data: '200x120-20-15', display: '160x90+0+0' },
        { data: '60x33+31+17', display: '160x90+0+0' },
      ],
    ],
    ...further<[string, string[], Windows[]]>(
      [
        'PIZ of floats: data partly and wholly beside the display window, and one pixel of it',
        ['-d', 'float', '--compression', 'piz'],
        [
          { data: '90x90-40-60', display: '160x90+0+0' },
          { data: '160x90+150+80', display: '160x90+0+0' },
          { data: '1x1+80+45', display: '160x90+0+0' },
        ],
      ],
      [
        'PIZ wholly beside the display window: black',
        ['-d', 'half', '--compression', 'piz'],
        [{ data: '160x90+200+0', display: '160x90+0+0' }],
      ],
    ),
  ])('%s', async (_, options, windows) => {
    const roll = freshFolder('windows');
    await frames(roll, options, windows);
    const job = await made(roll, windows.length);
    expect(job.facts.exr?.reader).toBe(options.includes('piz') ? undefined : 'own');
    for (const index of windows.keys()) await compare(job, roll, index);
    const report = await reportOf(job, PROFILE);
    expect(report.checks.find(({ check }) => check === 'spot-check')?.measured).toMatch(/pixels of frames 0/);
  });

  test('half and float side by side', async () => {
    const roll = freshFolder('windows');
    mkdirSync(join(roll, NAME));
    const view = new DataView(new ArrayBuffer(4));
    const floatBits = (value: number): number => {
      view.setFloat32(0, value);
      return view.getUint32(0);
    };
    writeFileSync(
      join(roll, NAME, nameOf(0)),
      exrFrame({
        width: WIDTH,
        height: HEIGHT,
        channels: [{ name: 'R' }, { name: 'G', kind: 'float' }, { name: 'B' }],
        bitsAt: (channel, x, y) =>
          channel === 'G' ? floatBits(x / 64) : channel === 'R' ? 0x3000 + y : 0x2c00 + x,
      }),
    );
    const job = await made(roll, 1);
    await compare(job, roll, 0);
  });
});

test('PIZ with a display window that begins elsewhere is refused, and made ready by what the refusal says', async () => {
  const roll = freshFolder('windows');
  const elsewhere = { data: '160x90+100+50', display: '160x90+100+50' };
  await frames(roll, ['-d', 'half', '--compression', 'piz'], [elsewhere]);
  const { facts, findings } = await surveySequence({
    rollFolder: roll,
    place: numberedFrames('.exr', { padding: 4, count: 1 }),
    tools: await mediaTools(),
    subject: {},
  });
  expect(facts).toBeNull();
  expect(findings.map(({ code }) => code)).toEqual(['frames-form-unread']);
  expect(findings[0]?.found).toContain('our own code does not read it: PIZ compression');
  expect(findings[0]?.expected).toContain('ZIP');
  const again = freshFolder('windows');
  mkdirSync(join(again, NAME));
  await outputOf('oiiotool', [
    ...[join(roll, NAME, nameOf(0)), '--compression', 'zip', '-o', join(again, NAME, nameOf(0))],
  ]);
  await compare(await made(again, 1), again, 0);
});

describe('a picture in another place is found', () => {
  /** ffmpeg puts the picture of a display window that begins elsewhere where it does not belong: once it was the maker of such masters. */
  test.each(['zip', 'piz'])('where ffmpeg places it, %s', async (compression) => {
    const roll = freshFolder('windows');
    const windows = [{ data: '140x80+104+53', display: '160x90+100+50' }];
    await frames(roll, ['-d', 'half', '--compression', 'zip'], windows);
    const clip = await sequenceClip(roll, numberedFrames('.exr', { padding: 4, count: 1 }));
    if (compression === 'piz') await frames(roll, ['-d', 'half', '--compression', 'piz'], windows);
    const { reader: _ours, ...exr } = clip.facts.exr as NonNullable<typeof clip.facts.exr>;
    const job = await masterJob(
      { ...clip, facts: { ...clip.facts, exr } },
      freshFolder('delivery'),
      [PROFILE],
      linear,
    );
    await expect(runJob(job, await workContext())).rejects.toThrow();
    const report = await reportOf(job, PROFILE);
    expect(report.state).toBe('failed');
    expect(report.findings.map(({ code }) => code)).toContain('master-spot-check-differs');
  });

  test('in a frame that is no spot, by points that are read twice', async () => {
    const roll = freshFolder('windows');
    await frames(
      roll,
      ['-d', 'half', '--compression', 'zip'],
      [{ data: '160x90+8+4', display: '160x90+0+0' }],
    );
    const clip = await sequenceClip(roll, numberedFrames('.exr', { padding: 4, count: 1 }));
    const job = await masterJob(clip, freshFolder('delivery'), [PROFILE], linear);
    const { signal } = new AbortController();
    // What a reader that found nothing would have read.
    const black = new Float32Array(3 * POINTS);
    const findings = await ownReadingFindings(job, { width: WIDTH, height: HEIGHT }, black, signal);
    expect(findings.map(({ code }) => code)).toEqual(['master-frames-not-as-decoded']);
    expect(findings[0]?.found).toMatch(
      /^A001C001\.1001\.exr: other values at \(\d+, \d+\) than a second reading finds$/,
    );
  });
});

describe('our own reader refuses what is damaged', () => {
  const picture = { width: 8, height: 6, channels: ['G', 'B', 'R'] };
  const to = new Float32Array(3 * 48);
  const good = exrFrame();
  const table = attributesOf(good).end;
  const headerValue = (bytes: Buffer, name: string, type: string): Buffer => {
    const key = Buffer.from(`${name}\0${type}\0`, 'latin1');
    return bytes.subarray(bytes.indexOf(key) + key.length + 4);
  };
  const spoilt = (spoil: (bytes: Buffer) => void): Buffer => {
    const bytes = Buffer.from(good);
    spoil(bytes);
    return bytes;
  };
  test.each<[string, Buffer, RegExp]>([
    ['cut off in a chunk', good.subarray(0, -1), /chunk 6 of 6 has 48 bytes, of 48 and 47/],
    ['cut off in the table', good.subarray(0, table + 20), /table of chunks is cut off/],
    ['cut off in the header', good.subarray(0, 100), /header does not end/],
    [
      'a chunk that was never written',
      spoilt((bytes) => void bytes.writeBigUInt64LE(0n, table + 8)),
      /chunk 2 of 6 lies at byte 0/,
    ],
    [
      'two chunks exchanged',
      spoilt((bytes) => void bytes.writeBigUInt64LE(bytes.readBigUInt64LE(table + 8), table)),
      /chunk 1 of 6 is of line 1, not 0/,
    ],
    [
      'a chunk of another size',
      spoilt((bytes) => void bytes.writeInt32LE(40, Number(bytes.readBigUInt64LE(table)) + 4)),
      /chunk of 40 bytes, not 48/,
    ],
    [
      'a chunk of negative size',
      spoilt((bytes) => void bytes.writeInt32LE(-1, Number(bytes.readBigUInt64LE(table)) + 4)),
      /chunk 1 of 6 has -1 bytes/,
    ],
    [
      'another display window',
      exrFrame({ display: { xMin: 0, yMin: 0, xMax: 8, yMax: 5 } }),
      /of 9x6, not 8x6/,
    ],
    ['no channel R', exrFrame({ channels: [{ name: 'G' }, { name: 'B' }] }), /no channel R/],
    [
      'a channel of whole numbers',
      exrFrame({ channels: [{ name: 'R', kind: 'uint' }, { name: 'G' }, { name: 'B' }] }),
      /channel R is of whole numbers/,
    ],
    ['tiles', spoilt((bytes) => void bytes.writeInt32LE(0x202, 4)), /not in scan lines/],
    [
      'a data window that ends before it begins',
      spoilt((bytes) => headerValue(bytes, 'dataWindow', 'box2i').writeInt32LE(-3, 12)),
      /a data window of 8x-2/,
    ],
    [
      'a data window that no bytes can fill',
      spoilt((bytes) => {
        headerValue(bytes, 'dataWindow', 'box2i').writeInt32LE(60_000, 8);
        headerValue(bytes, 'compression', 'compression')[0] = 2;
      }),
      /chunk 1 of 6 has 48 bytes, which cannot be 360006/,
    ],
  ])('%s', (_, bytes, why) => {
    expect(() => readPlaced(bytes, picture, to)).toThrow(why);
  });
});
