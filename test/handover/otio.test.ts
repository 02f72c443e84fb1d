/** OpenTimelineIO: field by field by the page that the project publishes, and read as its own sample files are. */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { packageFolder } from '../../files/installation.ts';
import { dayOrder } from '../../handover/day-clock.ts';
import { dayBin } from '../../handover/otio/bin.ts';
import { jsonPieces } from '../../handover/otio/json.ts';
import { clipsOf, OtioError, type OtioItem, readOtio } from '../../handover/otio/read.ts';
import { dayTimeline } from '../../handover/otio/timeline.ts';
import { ratio } from '../../media/time/rate.ts';
import { parseTimecode } from '../../media/time/timecode.ts';
import { modelDay, modelRoll } from '../support/day-model.ts';
import { clipFacts, clipNamed } from '../support/facts.ts';
import { mixedDay } from '../support/mixed-day.ts';

const folder = join(packageFolder, 'test/fixtures/otio');
const sample = (name: string): string => readFileSync(join(folder, `${name}.otio`), 'utf8');

/** Fields of every schema, as the page lists them. */
const published = new Map(
  readFileSync(join(folder, 'otio-serialized-schema.md'), 'utf8')
    .split(/^### /m)
    .slice(1)
    .map((part) => [
      part.split('\n')[0] as string,
      [...part.matchAll(/^- \*([a-z_]+)\*:/gm)].map((match) => match[1] as string),
    ]),
);

/** Every object with a schema in a document, wherever it stands. */
function* objectsIn(value: unknown): Generator<Record<string, unknown>> {
  if (typeof value !== 'object' || value === null) return;
  if ('OTIO_SCHEMA' in value) yield value as Record<string, unknown>;
  for (const child of Object.values(value)) yield* objectsIn(child);
}

const text = (json: Parameters<typeof jsonPieces>[0]): string => [...jsonPieces(json)].join('');

async function documents(): Promise<{ bin: string; timeline: string }> {
  const rolls = await mixedDay();
  const order = dayOrder(rolls.flatMap(({ clips }) => clips));
  const day = modelDay(rolls);
  return { bin: text(dayBin(day, rolls, order)), timeline: text(dayTimeline(day, order)) };
}

/** Lists of children are fields that the page leaves to the parent class's serialiser; samples of the project have them. */
const CHILDREN = ['children'];

test.each(['bin', 'timeline'] as const)(
  'every object of a %s has the fields that the page lists for its schema, and no other',
  async (which) => {
    const objects = [...objectsIn(JSON.parse((await documents())[which]))];
    expect(objects.length).toBeGreaterThan(50);
    const wrong = objects.flatMap(({ OTIO_SCHEMA: schema, ...fields }) => {
      const listed = published.get(schema as string);
      if (listed === undefined) return [`${schema}: not on the page`];
      const names = Object.keys(fields).filter((name) => !CHILDREN.includes(name));
      return [
        ...names.filter((name) => !listed.includes(name)).map((name) => `${schema}: ${name} is not listed`),
        // Of all fields that are listed only the newest, which has a default, is left out.
        ...listed
          .filter((name) => name !== 'color' && !names.includes(name))
          .map((name) => `${schema}: no ${name}`),
      ];
    });
    expect(wrong).toEqual([]);
  },
);

test('the page is read: schemas that we write are on it, with their fields', () => {
  expect(published.get('RationalTime.1')).toEqual(['rate', 'value']);
  expect(published.get('Clip.2')).toContain('media_references');
  expect(published.get('ImageSequenceReference.1')).toHaveLength(12);
});

const kinds = (item: OtioItem): unknown =>
  'children' in item ? [item.kind, item.children.map(kinds)] : item.kind;

describe('sample files of the project', () => {
  test.each([
    // What each holds, counted in the files themselves.
    ['clip_example', 1],
    ['simple_cut', 4],
    ['transition', 4],
    ['nested_example', 7],
    ['multitrack', 5],
    ['generator_reference_test', 1],
  ])('%s is read', (name, clips) => {
    const document = readOtio(sample(name));
    expect(document.kind).toBe('timeline');
    expect([...clipsOf(document)]).toHaveLength(clips);
    // Every clip of the text is found, whatever it lies in.
    expect(sample(name).match(/"OTIO_SCHEMA"\s*:\s*"Clip\.\d+"/g)).toHaveLength(clips);
  });

  test('a clip of version 1 has its one reference under the default key', () => {
    const [first] = [...clipsOf(readOtio(sample('clip_example')))];
    expect([...(first?.references.keys() ?? [])]).toEqual(['DEFAULT_MEDIA']);
    expect(first?.references.get('DEFAULT_MEDIA')?.available_range?.duration).toMatchObject({
      rate: 24,
      value: 8,
    });
  });
});

test.each([
  ['no JSON', '{'],
  ['no schema', '{}'],
  ['a list', '[]'],
  ['a clip without references', '{"OTIO_SCHEMA":"Clip.2","name":"x","metadata":{}}'],
  ['a rate of zero', sample('clip_example').replaceAll('"rate": 24', '"rate": 0')],
  ['stacks without end', `${'{"OTIO_SCHEMA":"Stack.1","children":['.repeat(300)}${']}'.repeat(300)}`],
])('what is no document is refused: %s', (_what, wrong) => {
  expect(() => readOtio(wrong)).toThrow(OtioError);
});

test('what we write is read again: folders, rolls, clips, ranges in the exact double of each rate', async () => {
  const { bin, timeline } = await documents();
  const read = readOtio(bin);
  expect(kinds(read)).toEqual([
    'collection',
    [
      ['collection', [['collection', ['clip', 'clip']]]],
      ['collection', [['collection', ['clip', 'clip']]]],
      ['collection', [['collection', ['clip', 'clip']]]],
      [
        'collection',
        [
          [
            'stack',
            [
              ['track', ['clip']],
              ['track', ['gap', 'clip']],
            ],
          ],
        ],
      ],
    ],
  ]);
  const clips = new Map([...clipsOf(read)].map((clip) => [clip.name, clip]));
  const first = clips.get('A001C001');
  // 30000/1001 as the library writes it, and the label 01:00:50;00 as its count: 108 000 + 1500 - 2 × 54 (SMPTE ST 12-1).
  expect(first?.references.get('source')?.available_range).toMatchObject({
    start_time: { rate: 29.97002997002997, value: 109_392 },
    duration: { value: 600 },
  });
  const slow = clips.get('B001C001');
  expect(slow?.metadata.rushlight).toMatchObject({
    reel: 'B001C001_310304_R2CD',
    rates: { native: '48', project: '24', factor: '2', played: '24' },
  });
  expect(slow?.references.get('DEFAULT_MEDIA')?.available_range).toMatchObject({
    start_time: { rate: 24, value: 36_000 * 24 + 5 },
    duration: { rate: 24, value: 480 },
  });
  expect(slow?.references.get('source')?.available_range).toMatchObject({
    start_time: { rate: 48, value: 36_000 * 48 + 10 },
    duration: { rate: 48, value: 480 },
  });
  expect(slow?.references.get('master:grading-master-exr')).toMatchObject({
    OTIO_SCHEMA: 'ImageSequenceReference.1',
    target_url_base: '../B001/grading-master-exr/B001C001/',
    frame_step: 1,
  });
  // Every clip once, in the order of timecode. The longest time without a clip is from 10 o'clock to a minute before midnight: a day that ran over it.
  const cut = readOtio(timeline);
  const tracks =
    'children' in cut && cut.children[0] !== undefined && 'children' in cut.children[0]
      ? cut.children[0].children
      : [];
  expect(tracks.map((track) => [...clipsOf(track)].map(({ name }) => name))).toEqual([
    ['A001C002', 'C001C002', 'B001C002', 'A001C001', 'C001C001', 'B001C001'],
    ['A001C002', 'A001C001'],
  ]);
});

const at = (name: string, label: string, frames: number) => ({
  clip: clipNamed(name),
  facts: clipFacts({
    reel: null,
    audio: [],
    timecode: parseTimecode(label, 24),
    video: { frames, rate: ratio(24) },
  }),
  profiles: ['editorial-vc3'],
});

test('clips of two cameras that ran together are one stack, each in its place to a frame; others are in none', async () => {
  const rolls = [
    await modelRoll('A001', [at('A001C001', '10:00:00:00', 240), at('A001C002', '11:00:00:00', 24)]),
    await modelRoll('B001', [at('B001C001', '10:00:02:05', 48), at('B001C002', '10:00:09:00', 240)]),
    // Begins with the frame that follows the last one of the others.
    await modelRoll('C001', [at('C001C001', '10:00:19:00', 24)]),
  ];
  const order = dayOrder(rolls.flatMap(({ clips }) => clips));
  const bin = readOtio(text(dayBin(modelDay(rolls), rolls, order)));
  const together = 'children' in bin ? bin.children.at(-1) : undefined;
  const stacks = together !== undefined && 'children' in together ? together.children : [];
  expect(stacks.map(kinds)).toEqual([
    [
      'stack',
      [
        ['track', ['clip']],
        ['track', ['gap', 'clip', 'gap', 'clip']],
      ],
    ],
  ]);
  const [stack] = stacks;
  const lane = stack !== undefined && 'children' in stack ? stack.children[1] : undefined;
  const gaps =
    lane !== undefined && 'children' in lane ? lane.children.filter(({ kind }) => kind === 'gap') : [];
  // 2 s and 5 frames at 24; then from 10:00:04:05 to 10:00:09:00.
  expect(gaps.map((gap) => ('range' in gap ? gap.range?.duration.value : null))).toEqual([53, 115]);
});
