/**
 * OpenEXR sources whose data window is not their display window, or whose display window begins elsewhere than at (0, 0): the master holds
 * the display window, 0 where the file holds nothing. Files by OpenImageIO's oiiotool, and the pictures compared with its own reading.
 */
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { surveySequence } from '../../coordinator/survey/sequence.ts';
import { layout } from '../../ledger/layout.ts';
import type { Job } from '../../ledger/job.ts';
import { placedPixels } from '../../check/master/exr/placed.ts';
import { sourceOfBytes } from '../../check/master/exr/source.ts';
import type { Triple } from '../../media/colour/matrix.ts';
import { attributesOf } from '../../check/master/exr/header.ts';
import { readPlaced } from '../../media/formats/exr/pixels.ts';
import { ownReadingFindings } from '../../worker/master/exr-spot.ts';
import { POINTS } from '../../proof/pixel-samples.ts';
import { runJob } from '../../worker/job.ts';
import { exrFrame } from '../support/exr.ts';
import { freshFolder } from '../support/folder.ts';
import { everyRow, further } from '../support/lane.ts';
import { mediaTools } from '../support/make.ts';
import { groupFolder, interpretation, reportOf } from '../support/master.ts';
import { masterJob, numberedFrames, sequenceClip } from '../support/masters.ts';
import { outputOf, pixelsOf } from '../support/pictures.ts';
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

/** Arguments of oiiotool for a file of each; a picture in which no two pixels are alike. */
const drawn = (roll: string, options: readonly string[], windows: readonly Windows[]): string[] =>
  windows.flatMap(({ data, display }, index) => {
    const [, size = '', origin = ''] = /^(\d+x\d+)(.*)$/.exec(data) ?? [];
    return [
      '--pattern',
      `fill:topleft=${index},-0.1,0.05:topright=9,0,0.3:bottomleft=0.2,1,0:bottomright=4,1,70`,
      ...[size, '3', '--origin', origin, '--fullsize', display, ...options],
      ...['-o', join(roll, NAME, nameOf(index))],
    ];
  });

/** Arguments of oiiotool for what a frame shows: its display window, from (0, 0) on. */
const shown = (roll: string, index: number, kind: 'half' | 'float', to: string): string[] => [
  ...[join(roll, NAME, nameOf(index)), '--ch', 'R,G,B', '--croptofull', '--origin', '+0+0'],
  ...['--fullsize', `${WIDTH}x${HEIGHT}+0+0`, '--compression', 'none', '-d', kind, '-o', to],
];

type Row = readonly [title: string, options: readonly string[], windows: readonly Windows[]];
/** Made whole as masters. */
const masterRows: readonly Row[] = [
  [
    'a display window from (100, 50) on, full of data; ZIP',
    ['-d', 'half', '--compression', 'zip'],
    [
      { data: '160x90+100+50', display: '160x90+100+50' },
      { data: '140x80+104+53', display: '160x90+100+50' },
    ],
  ],
  [
    'PIZ, decoded by ffmpeg: data beyond and within the display window from (0, 0)',
    ['-d', 'half', '--compression', 'piz'],
    [
      { data: '200x120-20-15', display: '160x90+0+0' },
      { data: '60x33+31+17', display: '160x90+0+0' },
    ],
  ],
];
/** In `npm test` both readers are asked for every pixel; the long lane makes masters of them too. */
const readRows: readonly Row[] = [
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
];
const SIDE_BY_SIDE = 'half and float side by side';
const windowRows = [...masterRows, ...readRows];
const [elsewhere, offset, within] = [
  { data: '160x90+100+50', display: '160x90+100+50' },
  { data: '140x80+104+53', display: '160x90+100+50' },
  { data: '160x90+8+4', display: '160x90+0+0' },
];

const rolls = groupFolder('windows');
const rollOf = (title: string): string => join(rolls, title.replaceAll(/\W+/g, '-'));
/** Every frame of `windowRows` and then the one of half and float, as OpenImageIO reads them: planes of 32 bits. */
let read: readonly Triple[][] = [];
const everyFrame = [
  ...windowRows.flatMap(([title, , windows]) =>
    windows.map((_, index) => ({ title, index, isPiz: title.startsWith('PIZ') })),
  ),
  { title: SIDE_BY_SIDE, index: 0, isPiz: false },
];

// All files by one start of oiiotool, which takes longer than to write them.
beforeAll(async () => {
  const others: readonly Row[] = [
    ['elsewhere-piz', ['-d', 'half', '--compression', 'piz'], [elsewhere]],
    ['offset-zip', ['-d', 'half', '--compression', 'zip'], [offset]],
    ['offset-piz', ['-d', 'half', '--compression', 'piz'], [offset]],
    ['within', ['-d', 'half', '--compression', 'zip'], [within]],
  ];
  const all = [...windowRows, ...others];
  for (const title of [...all.map(([name]) => name), SIDE_BY_SIDE, 'elsewhere-zip'])
    mkdirSync(join(rollOf(title), NAME), { recursive: true });
  const view = new DataView(new ArrayBuffer(4));
  const floatBits = (value: number): number => {
    view.setFloat32(0, value);
    return view.getUint32(0);
  };
  writeFileSync(
    join(rollOf(SIDE_BY_SIDE), NAME, nameOf(0)),
    exrFrame({
      width: WIDTH,
      height: HEIGHT,
      channels: [{ name: 'R' }, { name: 'G', kind: 'float' }, { name: 'B' }],
      bitsAt: (channel, x, y) =>
        channel === 'G' ? floatBits(x / 64) : channel === 'R' ? 0x3000 + y : 0x2c00 + x,
    }),
  );
  await outputOf('oiiotool', [
    '--nosoftwareattrib',
    ...all.flatMap(([title, options, windows]) => drawn(rollOf(title), options, windows)),
    // As the refusal of it says.
    ...[join(rollOf('elsewhere-piz'), NAME, nameOf(0)), '--compression', 'zip'],
    ...['-d', 'half', '-o', join(rollOf('elsewhere-zip'), NAME, nameOf(0))],
    ...everyFrame.flatMap(({ title, index }, number) =>
      shown(rollOf(title), index, 'float', join(rolls, `shown-${number}.exr`)),
    ),
  ]);
  const planes = await outputOf('ffmpeg', [
    ...['-v', 'error', '-start_number', '0', '-i', join(rolls, 'shown-%d.exr')],
    ...['-f', 'rawvideo', '-pix_fmt', 'gbrpf32le', '-'],
  ]);
  const bytes = 12 * WIDTH * HEIGHT;
  expect(planes.length).toBe(everyFrame.length * bytes);
  read = everyFrame.map((_, number) => pixelsOf(planes.subarray(number * bytes, (number + 1) * bytes)));
});

async function made(roll: string, count: number): Promise<Job> {
  const clip = await sequenceClip(roll, numberedFrames('.exr', { padding: 4, count }));
  const job = await masterJob(clip, freshFolder('delivery'), [PROFILE], linear);
  await runJob(job, await workContext());
  expect(await reportOf(job, PROFILE)).toMatchObject({ state: 'published', findings: [] });
  return job;
}

/** All frames of a master at once: `oiiotool` ends with another code than 0 where one value differs. */
async function compare(job: Job, roll: string, count: number): Promise<void> {
  const [work] = job.deliverables;
  const { outcome } = work as { outcome: { fileName: string; stem: string; first: number; digits: number } };
  const folder = freshFolder('compared');
  const master = (index: number): string =>
    join(
      layout.profileFolder(job.deliveryFolder, PROFILE),
      outcome.fileName,
      `${outcome.stem}.${String(outcome.first + index).padStart(outcome.digits, '0')}.exr`,
    );
  const compared = await outputOf('oiiotool', [
    ...['--fail', '0', '--warn', '0'],
    ...Array.from({ length: count }, (_, index) => [
      ...shown(roll, index, 'half', join(folder, `${index}.exr`)),
      ...[join(folder, `${index}.exr`), master(index), '--diff'],
    ]).flat(),
  ]);
  expect(compared.toString().match(/^PASS$/gm)).toHaveLength(count);
}

describe('a picture is where its windows put it', () => {
  test.each([...masterRows, ...further(...readRows)])('%s', async (title, options, windows) => {
    const job = await made(rollOf(title), windows.length);
    expect(job.facts.exr?.reader).toBe(options.includes('piz') ? undefined : 'own');
    await compare(job, rollOf(title), windows.length);
    const report = await reportOf(job, PROFILE);
    expect(report.checks.find(({ check }) => check === 'spot-check')?.measured).toMatch(/pixels of frames 0/);
  });

  test.runIf(everyRow)(SIDE_BY_SIDE, async () => {
    await compare(await made(rollOf(SIDE_BY_SIDE), 1), rollOf(SIDE_BY_SIDE), 1);
  });
});

describe('every pixel of the display window is that of OpenImageIO', () => {
  const points = Array.from({ length: WIDTH * HEIGHT }, (_, index) => ({
    x: index % WIDTH,
    y: Math.floor(index / WIDTH),
  }));

  const ours = everyFrame.flatMap((frame, number) => (frame.isPiz ? [] : [{ ...frame, number }]));
  test.each(ours)('to the reader that makes masters: $title, frame $index', ({ title, index, number }) => {
    const bytes = readFileSync(join(rollOf(title), NAME, nameOf(index)));
    const planes = new Float32Array(3 * points.length);
    readPlaced(bytes, { width: WIDTH, height: HEIGHT, channels: ['R', 'G', 'B'] }, planes);
    expect(points.map((_, at) => [0, 1, 2].map((plane) => planes[plane * points.length + at]))).toEqual(
      read[number],
    );
  });

  const each = everyFrame.map((frame, number) => ({ ...frame, number }));
  test.each(each)('to the reader of the checker: $title, frame $index', async ({ title, index, number }) => {
    const bytes = readFileSync(join(rollOf(title), NAME, nameOf(index)));
    const values = await placedPixels(sourceOfBytes(bytes), points);
    expect(points.map((_, at) => [...values.subarray(3 * at, 3 * at + 3)])).toEqual(read[number]);
  });
});

test('PIZ with a display window that begins elsewhere is refused, and taken in the form that the refusal says', async () => {
  const { facts, findings } = await surveySequence({
    rollFolder: rollOf('elsewhere-piz'),
    place: numberedFrames('.exr', { padding: 4, count: 1 }),
    tools: await mediaTools(),
    subject: {},
  });
  expect(facts).toBeNull();
  expect(findings.map(({ code }) => code)).toEqual(['frames-form-unread']);
  expect(findings[0]?.found).toContain('our own code does not read it: PIZ compression');
  expect(findings[0]?.expected).toContain('ZIP');
  const again = rollOf('elsewhere-zip');
  const clip = await sequenceClip(again, numberedFrames('.exr', { padding: 4, count: 1 }));
  expect(clip.facts.exr?.reader).toBe('own');
  // In `npm test` a master of just such a file is made above.
  if (everyRow) await compare(await made(again, 1), again, 1);
});

describe('a picture in another place is found', () => {
  /** ffmpeg puts the picture of a display window that begins elsewhere where it does not belong: once it was the maker of such masters. */
  test.each(['piz', ...further('zip')])('where ffmpeg places it, %s', async (compression) => {
    const { facts } = await sequenceClip(
      rollOf('offset-zip'),
      numberedFrames('.exr', { padding: 4, count: 1 }),
    );
    const rollFolder = rollOf(`offset-${compression}`);
    const clip = { rollFolder, place: numberedFrames('.exr', { padding: 4, count: 1 }), facts };
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
    const clip = await sequenceClip(rollOf('within'), numberedFrames('.exr', { padding: 4, count: 1 }));
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
