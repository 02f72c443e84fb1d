/** Profiles for displays of high dynamic range: what they may say, and what they decide of a clip. */
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import type { ClipFacts } from '../../media/facts.ts';
import { ratio } from '../../media/time/rate.ts';
import { lintProfileFile, loadProfiles } from '../../profiles/load.ts';
import { outcomeOf } from '../../profiles/outcome/decide.ts';
import { levelOfH265 } from '../../profiles/outcome/level.ts';
import { isMovie, type Profile } from '../../profiles/schema.ts';
import { contrastRatio } from '../../proof/text/contrast.ts';
import { clipFacts } from '../support/facts.ts';
import { freshFolder } from '../support/folder.ts';
import { interpretation } from '../support/master.ts';

const file = (text: string): string => {
  const path = join(freshFolder('lint'), 'mine.yaml');
  writeFileSync(path, `version: 1\nname: mine\nsummary: x\n${text}\n`);
  return path;
};
async function profile(wanted: string): Promise<Profile> {
  const { profiles, findings } = await loadProfiles({ wanted: [wanted] });
  const [loaded] = profiles.filter(isMovie);
  if (loaded === undefined) throw new Error(JSON.stringify(findings));
  return loaded.profile;
}
const [hdr, hlg] = [await profile('review-hdr'), await profile('review-hlg')];

test.each([
  ['extends: review-hdr\ncontainer: mov', 'mov with h265'],
  ['extends: review-hdr\npixels: 4:2:0 8-bit', '4:2:0 8-bit with h265'],
  ['extends: review-hdr\nraster: { multiple_of: 1 }', '1 with 4:2:0 10-bit'],
  ['extends: review-h264\ndisplay: { encoding: pq-bt2020 }', 'pq-bt2020 with 4:2:0 8-bit'],
  ['extends: review-hlg\ndisplay: { peak: 2000 }', 'a peak of 2000 cd/m², limited to p3-d65'],
  ['extends: review-h264\ndisplay: { peak: 300 }', 'a peak of 300 cd/m², limited to bt709'],
  ['extends: review-h264\ndisplay: { limiting: p3-d65 }', 'a peak of 100 cd/m², limited to p3-d65'],
])('%s: %s', async (text, found) => {
  const { findings } = await lintProfileFile(file(text));
  expect(new Set(findings.map((one) => one.code))).toEqual(new Set(['profile-combination']));
  expect(findings.map((one) => one.found).join('\n')).toContain(found);
});

test.each([
  'display: { peak: 600, limiting: bt2020 }',
  'display: { limiting: bt709 }',
  'video: { quality: 16 }',
])('%s is no fault in a profile that extends review-hdr', async (text) => {
  expect((await lintProfileFile(file(`extends: review-hdr\n${text}`))).findings).toEqual([]);
});

const clip = { id: 'B007C001', name: 'B007C001' };
const decide = (wanted: Profile, facts: ClipFacts): ReturnType<typeof outcomeOf> =>
  outcomeOf({ day: 'day-01', roll: 'B007', clip, facts, profile: wanted });
const said = (name: 'slog3-sgamut3cine' | 'bt709' | 'pq-bt2020' | 'hlg-bt2020') => ({
  interpretation: { ...interpretation, input: { name } },
});
const tagged = (transfer: 'pq' | 'hlg') => ({
  video: { colour: { primaries: 'bt2020', transfer, matrix: 'bt2020', range: 'limited' } } as const,
});

describe('a clip', () => {
  test('of a log curve is shown through the output transform, with the display that it is made for', () => {
    const { outcome } = decide(hdr, clipFacts(said('slog3-sgamut3cine')));
    expect(outcome).toMatchObject({
      codec: 'h265',
      codecTag: 'hvc1',
      pixelFormat: 'yuv420p10le',
      colour: { primaries: 'bt2020', transfer: 'pq', matrix: 'bt2020', range: 'limited' },
      chromaSiting: 'topleft',
      contentLight: 'measured',
      masteringDisplay: { primaries: 'p3-d65', peak: 1000, black: 0.0001 },
      shown: {
        display: 'pq-bt2020',
        output: { rendering: { version: 'aces-2', peak: 1000, limiting: 'p3-d65' }, display: 'pq-bt2020' },
      },
      keyFrameDistance: 24,
    });
    // ITU-R BT.2408, Table 1: the reference white is 58 % of PQ, 75 % of HLG; 219 steps above 16.
    expect(outcome?.burnIn?.map(({ look }) => look.letters)).toEqual([143, 143]);
    const other = decide(hlg, clipFacts(said('slog3-sgamut3cine'))).outcome;
    expect(other?.burnIn?.map(({ look }) => look.letters)).toEqual([180, 180]);
    expect(other).toMatchObject({ colour: { transfer: 'hlg' }, shown: { display: 'hlg-bt2020' } });
    expect(other).toHaveProperty('contentLight', null);
    expect(other).toHaveProperty('masteringDisplay', null);
  });

  test('that was made for the same display stays as recorded, on a display that nobody names', () => {
    const { outcome } = decide(hdr, clipFacts({ ...said('pq-bt2020'), ...tagged('pq') }));
    expect(outcome).toMatchObject({ contentLight: 'measured', colour: { transfer: 'pq' } });
    expect(outcome).toHaveProperty('shown', null);
    expect(outcome).toHaveProperty('masteringDisplay', null);
    expect(decide(hlg, clipFacts({ ...said('hlg-bt2020'), ...tagged('hlg') })).outcome).toHaveProperty(
      'shown',
      null,
    );
  });

  test('that was made for the other one goes through scene-linear values', () => {
    expect(decide(hdr, clipFacts({ ...said('hlg-bt2020'), ...tagged('hlg') })).outcome).toMatchObject({
      shown: { input: { name: 'hlg-bt2020' }, display: 'pq-bt2020' },
    });
  });

  test('of standard range is placed, on a display that nobody names', () => {
    const { outcome } = decide(hdr, clipFacts(said('bt709')));
    expect(outcome).toMatchObject({
      shown: { output: { placed: 'bt709', white: 203, display: 'pq-bt2020' } },
      colour: { primaries: 'bt2020', transfer: 'pq', matrix: 'bt2020' },
      contentLight: 'measured',
    });
    expect(outcome).toHaveProperty('masteringDisplay', null);
  });

  test('whose look ends on a display has light levels, and no peak of a profile that the look knows nothing of', () => {
    const look = {
      file: 'bell.cube',
      sha256: 'a'.repeat(64),
      from: 'acescct',
      to: 'pq-bt2020',
      interpolation: 'tetrahedral',
      aces: 'b'.repeat(64),
    } as const;
    const { outcome } = decide(
      hdr,
      clipFacts({
        ...said('slog3-sgamut3cine'),
        way: { exposure: 0, gamutCompression: false, cdl: null, look, output: 'aces-2' },
      }),
    );
    expect(outcome).toMatchObject({ shown: { output: null }, contentLight: 'measured' });
    expect(outcome).toHaveProperty('masteringDisplay', null);
  });

  test('of which nobody says anything is held, with the line that is missing', () => {
    const decision = decide(hdr, clipFacts({ interpretation: { ...interpretation, input: null } }));
    expect('findings' in decision && decision.findings).toMatchObject([
      { code: 'input-unknown', expected: expect.stringContaining('`input: { name: bt709 }`') },
    ]);
  });

  test('of a show in ACES 1 is held where ACES 1 has no such output transform', async () => {
    const facts = (output: 'aces-1' | 'aces-2'): ClipFacts =>
      clipFacts({
        ...said('slog3-sgamut3cine'),
        way: { exposure: 0, gamutCompression: false, cdl: null, look: null, output },
      });
    const own = await profile(file('extends: review-hdr\ndisplay: { peak: 600 }'));
    const decision = decide(own, facts('aces-1'));
    expect('findings' in decision && decision.findings.map(({ code, found }) => [code, found])).toEqual([
      ['output-transform-missing', 'aces-1 for pq-bt2020 of 600 cd/m², limited to p3-d65'],
    ]);
    expect(decide(own, facts('aces-2')).outcome).toMatchObject({ masteringDisplay: { peak: 600 } });
    expect(decide(hdr, facts('aces-1')).outcome).toMatchObject({
      shown: { output: { rendering: { version: 'aces-1', peak: 1000 } } },
    });
  });
});

// ITU-T H.265, Tables A.8 and A.9; A.4.1 of a side.
test.each([
  [320, 180, ratio(25), 60],
  [1280, 720, ratio(24), 93],
  [1280, 720, ratio(60), 120],
  [1920, 1080, ratio(30), 120],
  [1920, 1080, ratio(60), 123],
  [3840, 2160, ratio(30), 150],
  [3840, 2160, ratio(60), 153],
  [4096, 2160, ratio(24), 150],
  [8192, 4320, ratio(60), 183],
  [64, 4000, ratio(24), 120],
  [16_384, 16_384, ratio(24), null],
])('H.265 level of %ix%i at %o is %s thirtieths', (width, height, rate, level) => {
  expect(levelOfH265(width, height, rate)).toBe(level);
});

// SMPTE ST 2084: 58 % is 203 cd/m², the white of a page; ITU-R BT.2100: 75 % of HLG at a peak of 1000 cd/m² as well. WCAG 2.2 adds a twentieth of white to both.
test.each(['pq', 'hlg'])(
  'letters at the reference white of %s have the full contrast on black',
  (transfer) => {
    const letters = 16 + 219 * (transfer === 'pq' ? 0.5807 : 0.75);
    expect(contrastRatio(letters, 16, transfer)).toBeGreaterThan(20.8);
    expect(contrastRatio(letters, 16, transfer)).toBeLessThan(21.2);
    expect(contrastRatio(letters, letters, transfer)).toBe(1);
  },
);
