/** Faults of single samples between decoder and encoder, in frames that are compared whole: where no drawn tile need be. */
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { type FormName, makeClip, type PictureName } from '../campaign/material.ts';
import { runCase } from '../campaign/run-case.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { further } from '../support/lane.ts';
import { jobFor } from '../support/work.ts';
import { tilesOf } from '../../profiles/recipe/tiles.ts';
import { moviesOf } from '../support/jobs.ts';

const material = join(sharedFolder, 'campaign');
const fitted = 'test/campaign/profiles/fitted-vc3.yaml';

const jobOf = async (picture: PictureName, form: FormName, profile: string) =>
  await jobFor(await makeClip(material, { picture, form, take: 0 }), join(sharedFolder, 'whole-frame-jobs'), [
    profile,
  ]);

/** Luma is 20 codes off where the expression of X, Y, N is not 0. */
const raised = (where: string): string =>
  `geq=lum='lum(X\\,Y)+20*(1-2*gt(lum(X\\,Y)\\,200))*${where}':cb='cb(X\\,Y)':cr='cr(X\\,Y)':interpolation=nearest`;
const all = (...conditions: string[]): string => conditions.join('*');
const frame = (number: number): string => `eq(N\\,${number})`;
const at = (x: number, y: number): string => `eq(X\\,${x})*eq(Y\\,${y})`;

/** `by`: the frame that is to be named. */
interface Fault {
  readonly what: string;
  readonly form: FormName;
  readonly profile: string;
  readonly from: string;
  readonly to: string;
  readonly by: number;
}
const behind = (filters: string) => ({ from: ',setsar=1,', to: `,setsar=1,${filters},` });

const faults: readonly Fault[] = [
  {
    what: 'one sample in the first frame',
    form: 'film-two-tracks',
    profile: fitted,
    ...behind(raised(all(frame(0), at(101, 53)))),
    by: 0,
  },
  {
    what: 'one sample of the last frame that is made of fields, where text is drawn over it',
    form: 'fields-top',
    profile: 'test/campaign/profiles/full-vc3.yaml',
    ...behind(raised(all(frame(24), at(160, 240)))),
    by: 24,
  },
  ...further<Fault>(
    {
      what: 'a block of 16 x 16 in the last frame',
      form: 'film-two-tracks',
      profile: fitted,
      ...behind(raised(all(frame(35), 'between(X\\,64\\,79)*between(Y\\,80\\,95)'))),
      by: 35,
    },
    {
      what: 'one sample of the first frame that is made of fields',
      form: 'fields-top',
      profile: 'test/campaign/profiles/full-vc3.yaml',
      ...behind(raised(all(frame(0), at(101, 53)))),
      by: 0,
    },
    {
      what: 'a dead column at the right edge',
      form: 'film-two-tracks',
      profile: fitted,
      ...behind(raised('eq(X\\,W-1)')),
      by: 0,
    },
    {
      what: 'one sample of chroma in the first frame',
      form: 'film-wide-colour',
      profile: fitted,
      ...behind(
        `geq=lum='lum(X\\,Y)':cb='cb(X\\,Y)+20*${all(frame(0), at(20, 30))}':cr='cr(X\\,Y)':interpolation=nearest`,
      ),
      by: 0,
    },
  ),
];

describe('held, by a whole frame', () => {
  test.each(faults)('$what', async ({ form, profile, from, to, by }) => {
    const { verdict, codes, done, reported } = await runCase(
      await jobOf('chart', form, profile),
      { do: 'graph', stage: 'encoder', from, to },
      join(freshFolder('whole-frames'), 'case'),
    );
    expect(done).toBe(true);
    expect([verdict, codes.includes('encoder-input-differs')], reported.join('; ')).toEqual(['held', true]);
    const whole = reported.filter((line) => line.includes('of the whole frame')).join('; ');
    expect(whole).toMatch(new RegExp(`frame ${by}: (?:Y'|Cb) `));
  });

  test('a frame that did not come', async () => {
    const { codes, reported, done } = await runCase(
      await jobOf('chart', 'film-two-tracks', fitted),
      { do: 'graph', stage: 'encoder', from: '+eq(n\\,35)[whole-given0-out]', to: '[whole-given0-out]' },
      join(freshFolder('whole-frames'), 'case'),
    );
    expect([done, codes]).toEqual([true, ['encoder-input-differs']]);
    expect(reported.join('; ')).toContain('the first and the last among them');
  });
});

test('first and last, and up to three in between', async () => {
  const job = await jobOf('chart', 'film-two-tracks', fitted);
  const [movie] = moviesOf(job);
  if (movie === undefined) throw new Error('no movie');
  for (const [frames, most] of [
    [1, 1],
    [2, 2],
    [3, 3],
    [36, 3],
    [100_000, 5],
  ] as const) {
    const plan = tilesOf(job.facts, movie.profile, { ...movie.outcome, frames });
    const whole = plan?.whole ?? [];
    expect([whole[0], whole.at(-1)]).toEqual([0, frames - 1]);
    expect(new Set(whole).size).toBe(whole.length);
    expect(whole.length).toBeLessThanOrEqual(most);
    expect(whole.length).toBeGreaterThanOrEqual(Math.min(frames, 3));
  }
});

describe('clips without a fault are ready', () => {
  test.each<[PictureName, FormName, string]>([
    ['scrolling-noise', 'fields-top', 'test/campaign/profiles/small-rdd36.yaml'],
    ...further<[PictureName, FormName, string]>(
      ['static-on-a-screen', 'film-wide-colour', 'test/campaign/profiles/filled-h264.yaml'],
      ['chart', 'large', 'editorial-vc3'],
      ['static-on-a-screen', 'upright', 'test/campaign/profiles/full-vc3.yaml'],
      ['static-on-a-screen', 'fields-bottom', fitted],
      ['static-on-a-screen', 'drop-frame-30', 'test/campaign/profiles/filled-h264.yaml'],
      ['chart', 'pal-mute', 'test/fixtures/profiles/small-h264.yaml'],
    ),
  ])('%s as %s in %s', async (picture, form, profile) => {
    const { verdict, codes, reported } = await runCase(
      await jobOf(picture, form, profile),
      { do: 'none' },
      join(freshFolder('whole-frames'), 'case'),
    );
    expect([verdict, codes], reported.join('; ')).toEqual(['ready', []]);
  });
});
