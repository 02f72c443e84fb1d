/** Burnt-in text that is wrong in what the encoder is given, and behind that: each fault in a real encode. And clips without one, which must not be held. */
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { readDeliverables } from '../../coordinator/gate/disk.ts';
import { burnInFont } from '../../files/installation.ts';
import type { Job } from '../../ledger/job.ts';
import { graphValue } from '../../profiles/recipe/escape.ts';
import type { BurntIn } from '../../proof/text/form.ts';
import { wordsOf } from '../../proof/text/words.ts';
import { type FormName, makeClip, type PictureName } from '../campaign/material.ts';
import { runCase } from '../campaign/run-case.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { further } from '../support/lane.ts';
import { makeMovie } from '../support/media.ts';
import { jobFor } from '../support/work.ts';
import type { Operation } from './operation.ts';

const material = join(sharedFolder, 'campaign');
const profiles = {
  h264: 'test/fixtures/profiles/small-h264.yaml',
  rdd36: 'test/campaign/profiles/small-rdd36.yaml',
  vc3: 'test/campaign/profiles/full-vc3.yaml',
} as const;
type Codec = keyof typeof profiles;

async function jobOf(picture: PictureName, form: FormName, codec: Codec): Promise<Job> {
  const clip = await makeClip(material, { picture, form, take: 0 });
  return await jobFor(clip, join(sharedFolder, 'burn-in-jobs'), [profiles[codec]]);
}

function textOf(job: Job, text: string): BurntIn {
  const outcome = job.deliverables[0]?.outcome;
  const item = outcome?.kind === 'movie' ? outcome.burnIn?.find((one) => one.text === text) : undefined;
  if (item === undefined) throw new Error(`no ${text} in the picture`);
  return item;
}

/** As the graph spells it. */
const label = (item: BurntIn, frame: number): string => graphValue(wordsOf(item.words, frame));
const graph = (from: string, to: string): Operation => ({
  do: 'graph',
  stage: 'encoder',
  from,
  to,
  every: true,
});
/** Words over those that are there, behind every tap. `words`: options of drawtext. */
const written = ({ letters: { size, left, baseline } }: BurntIn, words: string): string =>
  `drawtext=${words}:fontfile=${graphValue(burnInFont())}:fontsize=${size}:fontcolor=white:ft_load_flags=no_hinting:text_shaping=0:x=${left}:y=${baseline}-ascent`;
const painted = ({ box: { left, top, width, height } }: BurntIn): string =>
  `drawbox=x=${left}:y=${top}:w=${width}:h=${height}:color=0x202020:t=fill`;
const filter = (job: Job, filters: string): Operation => ({
  do: 'filter',
  stage: 'encoder',
  profile: job.deliverables[0]?.profile.name ?? '',
  filters,
  retag: true,
});

type Fault = readonly [what: string, form: FormName, codec: Codec, operation: (job: Job) => Operation];
/** What the label of each frame is counted from: the frame's number, and the start. */
const counted = (job: Job, number: string, more: number): Operation => {
  const { words } = textOf(job, 'timecode');
  if (words.kind !== 'timecode') throw new Error('a label was meant');
  const { frame } = words.start;
  return graph(`mod(n+${frame}\\,`, `mod(${number}+${frame + more}\\,`);
};
const late = (job: Job): Operation => counted(job, 'n', -1);
const frozen = (job: Job): Operation => counted(job, '0*n', 0);

const heldBy =
  (code: 'burn-in-differs' | 'burn-in-invisible') =>
  async (...[, form, codec, operation]: Fault): Promise<void> => {
    const job = await jobOf('chart', form, codec);
    const { verdict, codes, done, reported } = await runCase(
      job,
      operation(job),
      join(freshFolder('burn-in'), 'case'),
    );
    expect(done).toBe(true);
    expect([verdict, codes.includes(code)], reported.join('; ')).toEqual(['held', true]);
  };

describe('held, and by the text that the encoder was given', () => {
  test.each<Fault>([
    ['every label one frame late', 'film', 'h264', late],
    ['the label of the first frame in all', 'drop-frame-60', 'rdd36', frozen],
    [
      'a drop-frame label that drops nothing',
      'drop-frame-30',
      'rdd36',
      () => graph(`text=${graphValue(';')}:expansion`, `text=${graphValue(':')}:expansion`),
    ],
    [
      'the name of another clip',
      'film',
      'h264',
      (job) =>
        graph(
          'drawtext=textfile=',
          `${written(textOf(job, 'clip'), 'text=chart-film-2')},drawtext=enable=0:textfile=`,
        ),
    ],
    ['no name', 'film', 'h264', () => graph('drawtext=textfile=', 'drawtext=enable=0:textfile=')],
    ...further<Fault>(
      [
        'letters moved by two pixels',
        'film',
        'h264',
        (job) => {
          const { letters } = textOf(job, 'timecode');
          return graph(`:y=${letters.baseline}-ascent`, `:y=${letters.baseline - 2}-ascent`);
        },
      ],
      ['every label one frame late, across midnight', 'film-two-tracks', 'vc3', late],
      ['every label one frame late', 'drop-frame-60', 'rdd36', late],
      ['every label one frame late', 'drop-frame-30', 'h264', late],
      ['every label one frame early', 'film', 'rdd36', (job) => counted(job, 'n', 1)],
      ['the label of the first frame in all', 'film', 'vc3', frozen],
      ['one wrong digit', 'film', 'vc3', (job) => counted(job, 'n', 6 * 3600 * 24)],
      [
        'a label missing in one frame',
        'film',
        'h264',
        () => graph('drawtext=text=', 'drawtext=enable=not(eq(n\\,9)):text='),
      ],
      [
        'a box that is moved',
        'film',
        'h264',
        (job) => {
          const { box } = textOf(job, 'timecode');
          return graph(
            `crop=w=${box.width}:h=${box.height}:x=${box.left}:`,
            `crop=w=${box.width}:h=${box.height}:x=${box.left - 2}:`,
          );
        },
      ],
      ['letters that are tinted', 'film', 'h264', () => graph('fontcolor=0xffffff', 'fontcolor=0xfff0ff')],
    ),
  ])('%s: %s in %s', heldBy('burn-in-differs'));

  test.each<Fault>([
    ['letters of a twentieth', 'film', 'h264', () => graph('fontcolor=0xffffff', 'fontcolor=0xffffff@0.05')],
    ...further<Fault>([
      'white letters on a white ground',
      'film',
      'vc3',
      () => graph('lutyuv=y=floor(', 'lutyuv=y=219+floor('),
    ]),
  ])('invisible: %s', heldBy('burn-in-invisible'));
});

describe('held, and by the text in the file: faults behind every tap', () => {
  test.each<Fault>([
    [
      'every label one frame late',
      'film',
      'h264',
      (job) => {
        const item = textOf(job, 'timecode');
        return filter(
          job,
          `${painted(item)},${written(item, `timecode=${label(item, -1)}:timecode_rate=24000/1001:tc24hmax=1`)}`,
        );
      },
    ],
    [
      'the name of another clip',
      'film',
      'h264',
      (job) =>
        filter(job, `${painted(textOf(job, 'clip'))},${written(textOf(job, 'clip'), 'text=chart-film-2')}`),
    ],
    ...further<Fault>(
      ['no label', 'film', 'vc3', (job) => filter(job, painted(textOf(job, 'timecode')))],
      [
        'the label of the first frame in all',
        'drop-frame-60',
        'h264',
        (job) => {
          const item = textOf(job, 'timecode');
          return filter(job, `${painted(item)},${written(item, `text=${label(item, 0)}`)}`);
        },
      ],
      [
        'one wrong digit in one frame',
        'film',
        'vc3',
        (job) => {
          const item = textOf(job, 'timecode');
          const wrong = graphValue(wordsOf(item.words, 9).replace(/9$/, '8'));
          const one = ":enable='eq(n\\,9)'";
          return filter(job, `${painted(item)}${one},${written(item, `text=${wrong}`)}${one}`);
        },
      ],
    ),
  ])('%s: %s in %s', async (_what, form, codec, operation) => {
    const job = await jobOf('chart', form, codec);
    const folder = join(freshFolder('burn-in'), 'case');
    const { verdict, done, reported } = await runCase(job, operation(job), folder, true);
    expect(done).toBe(true);
    expect(verdict, reported.join('; ')).toBe('held');
    const [deliverable] = [
      ...(
        await readDeliverables(
          join(folder, 'delivery', job.day, job.roll),
          [job.clip],
          job.deliverables.map(({ profile }) => profile.name),
          'measure',
        )
      ).values(),
    ];
    const status = (name: string) => deliverable?.report?.checks.find(({ check }) => check === name)?.status;
    expect([status('burn-in'), status('burn-in-drawn')], reported.join('; ')).toEqual(['failed', 'passed']);
  });
});

describe('clips without a fault are ready', () => {
  test.each<[PictureName, FormName, Codec]>([
    ['static-on-a-screen', 'full-range', 'vc3'],
    ['flashes', 'fields-bottom', 'h264'],
    ...further<[PictureName, FormName, Codec]>(
      ['chart', 'drop-frame-60', 'rdd36'],
      ['locked-off-dark', 'drop-frame-60', 'rdd36'],
      ['chart', 'fields-top', 'vc3'],
      ['grey', 'film-wide-colour', 'rdd36'],
      ['scrolling-noise', 'upright', 'h264'],
      ['zoom', 'film-two-tracks', 'h264'],
      ['cuts', 'upright', 'rdd36'],
      ['flashes', 'pal-mute', 'rdd36'],
      ['flicker', 'drop-frame-30', 'h264'],
      ['fade-in', 'whole-24', 'h264'],
      ['bell', 'large', 'h264'],
    ),
  ])('%s as %s in %s', async (picture, form, codec) => {
    const { verdict, codes, reported } = await runCase(
      await jobOf(picture, form, codec),
      { do: 'none' },
      join(freshFolder('burn-in'), 'case'),
    );
    expect([verdict, codes], reported.join('; ')).toEqual(['ready', []]);
  });
});

describe('every text and a watermark, in several deliverables of one encode', () => {
  const texts = `burn_in:
  - { text: clip, place: top-left, height_percent: 5 }
  - { text: look, place: top-left, height_percent: 5 }
  - { text: words, words: 'For review: 50% \\ {x}', place: bottom-left, height_percent: 5 }
  - { text: frame, place: bottom-right, height_percent: 5 }
  - { text: timecode, place: bottom-right, height_percent: 5 }
watermark: { words: For Ines Alder, layout: centred, height_percent: 6, opacity_percent: 30 }
`;
  /** Letters of a watermark in the place of those that are there, one by one where the outcome has them. */
  const marked = (item: BurntIn, words: string): string => {
    const { left, top, width, height } = item.box;
    const { size, pitch, left: first, baseline } = item.letters;
    return [
      `delogo=x=${left}:y=${top}:w=${width}:h=${height}`,
      ...[...words].map(
        (character, index) =>
          `drawtext=text=${graphValue(character)}:expansion=none:fontfile=${graphValue(burnInFont())}:fontsize=${size}:fontcolor=white@0.3:ft_load_flags=no_hinting:text_shaping=0:x=${first + index * pitch}:y=${baseline}-ascent`,
      ),
    ].join(',');
  };

  test('only those with a fault behind every tap are held', async () => {
    const folder = freshFolder('burn-in-all');
    const names = ['texts-right', 'texts-late', 'texts-marked-otherwise'];
    const wanted = names.map((name) => {
      const path = join(folder, `${name}.yaml`);
      writeFileSync(
        path,
        `version: 1\nname: ${name}\nsummary: every text\nextends: review-h264\nraster: { policy: native, width: null, height: null, multiple_of: 2, enlarge: false }\n${texts}`,
      );
      return path;
    });
    const clip = await makeClip(material, { picture: 'chart', form: 'pal', take: 0 });
    const job = await jobFor(clip, join(folder, 'jobs'), wanted);
    const outcome = job.deliverables[0]?.outcome;
    const marks = outcome?.kind === 'movie' ? outcome.burnIn.filter(({ text }) => text === 'watermark') : [];
    expect(marks).toHaveLength(1);
    const number = textOf(job, 'frame');
    const operations = (
      [
        ['texts-late', `${painted(number)},${written(number, `text=${graphValue('%{eif:n+1:d:4}')}`)}`],
        ['texts-marked-otherwise', marks.map((item) => marked(item, 'For Ines Aldar')).join(',')],
      ] as const
    ).map(([profile, filters]) => ({
      ...({ do: 'filter', stage: 'encoder', retag: true } as const),
      ...{ profile, filters },
    }));
    const { done, codesOf, reported } = await runCase(
      job,
      { do: 'several', operations },
      join(folder, 'case'),
    );
    expect(done, reported.join('; ')).toBe(true);
    expect(
      Object.fromEntries(names.map((name) => [name, codesOf(name).includes('burn-in-differs')])),
      reported.join('; '),
    ).toEqual({
      'texts-right': false,
      'texts-late': true,
      'texts-marked-otherwise': true,
    });
    expect(codesOf('texts-right'), reported.join('; ')).toEqual([]);
  });
});

describe('names and sizes that nothing may be held for', () => {
  test.each<[what: string, name: string, size: string]>([
    [
      'a name with every awkward character, and some that the font lacks',
      "it's 10% %{pts} [a],b;c=d \\ {x} Größe é 鐘",
      '320x180',
    ],
    ...further<[what: string, name: string, size: string]>(
      ['a name that is shortened', `${'long name '.repeat(20)}end`, '320x180'],
      ['a picture that texts hardly fit in', 'A001C001', '112x64'],
    ),
  ])('%s', async (_what, name, size) => {
    const folder = freshFolder('burn-in-names');
    const clip = await makeMovie(join(folder, `${name}.mov`), {
      size,
      frames: 6,
      rate: '24',
      timecode: '23:59:59:22',
    });
    const job = await jobFor(clip, join(folder, 'jobs'), [profiles.h264]);
    const { verdict, codes, reported } = await runCase(job, { do: 'none' }, join(folder, 'case'));
    expect([verdict, codes], reported.join('; ')).toEqual(['ready', []]);
  });
});
