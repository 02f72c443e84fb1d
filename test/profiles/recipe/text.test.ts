/** The recipe's command on real clips: burnt-in text, and names that are data. */
import { mkdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { outcomeOf } from '../../../profiles/outcome/decide.ts';
import { recipeOf } from '../../../profiles/recipe/index.ts';
import type { Profile } from '../../../profiles/schema.ts';
import { freshFolder, sharedFolder } from '../../support/folder.ts';
import { everyRow, further } from '../../support/lane.ts';
import { factsOf, makeAll } from '../../support/make.ts';
import { ffmpeg, makeMovie } from '../../support/media.ts';
import { byTurns, inputsOf, recipeProfiles } from './support.ts';

const { vc3, review } = await recipeProfiles();

describe('burnt-in text', () => {
  interface Text {
    readonly text: 'timecode' | 'clip';
    readonly words: string;
    readonly rate: string;
    readonly timecode: string;
  }
  /** Of each text the digests of its four frames, VC-3 of a plain picture: frames of equal pictures are equal bytes. */
  async function framesOf(texts: readonly Text[], folder = freshFolder('text')): Promise<string[][]> {
    const made: string[] = [];
    for (const [index, { text, words, rate, timecode }] of texts.entries()) {
      const own = join(folder, String(index));
      const source = await makeMovie(join(own, 'clip.mov'), {
        rate,
        timecode,
        frames: 4,
        audio: [],
        picture: 'color',
        size: '640x360',
      });
      const facts = await factsOf(source);
      const profile: Profile = { ...vc3, burn_in: [{ text, place: 'bottom-right', height_percent: 8 }] };
      const decided = outcomeOf({
        day: 'd',
        roll: 'A001',
        clip: { id: 'clip', name: words },
        facts,
        profile,
      });
      if (decided.outcome === null) throw new Error(JSON.stringify(decided.findings));
      const path = join(own, 'out.mov');
      const recipe = recipeOf({
        facts,
        deliverables: [{ profile, outcome: decided.outcome, path }],
        textFolder: own,
        threads: 2,
      });
      await ffmpeg(
        ...recipe.inputOptions,
        ...inputsOf(recipe, source),
        '-filter_complex',
        recipe.filterGraph,
        ...recipe.outputArguments,
      );
      made.push(path);
    }
    // One program decodes them all.
    await ffmpeg(
      ...made.flatMap((path) => ['-i', path]),
      ...made.flatMap((path, index) => [
        ...['-map', `${index}:v:0`, '-fps_mode', 'passthrough', '-c:v', 'rawvideo'],
        ...['-f', 'framehash', '-hash', 'sha256', `${path}.frames`],
      ]),
    );
    return made.map((path) =>
      readFileSync(`${path}.frames`, 'utf8')
        .split('\n')
        .filter((line) => line !== '' && !line.startsWith('#'))
        .map((line) => (line.split(',').at(-1) as string).trim()),
    );
  }

  // Labels typed by hand, after SMPTE ST 12-1.
  test.each<readonly [string, string, string[]]>([
    ['30000/1001', '00:00:59;28', ['00:00:59;28', '00:00:59;29', '00:01:00;02', '00:01:00;03']],
    ['24000/1001', '23:59:59:22', ['23:59:59:22', '23:59:59:23', '00:00:00:00', '00:00:00:01']],
    ...further<readonly [string, string, string[]]>(
      ['60000/1001', '00:08:59;58', ['00:08:59;58', '00:08:59;59', '00:09:00;04', '00:09:00;05']],
      ['30000/1001', '00:00:59:28', ['00:00:59:28', '00:00:59:29', '00:01:00:00', '00:01:00:01']],
      ['25', '09:59:59:23', ['09:59:59:23', '09:59:59:24', '10:00:00:00', '10:00:00:01']],
    ),
  ])('at %s from %s every frame shows its own label', async (rate, timecode, labels) => {
    // Each label is drawn by a program of its own; in npm test the one behind the change, and in drop-frame the one before it.
    const drawn = [...labels.entries()].filter(
      ([index]) => everyRow || index === 2 || (index === 1 && timecode.includes(';')),
    );
    const [counted, ...stills] = await framesOf([
      { text: 'timecode', words: 'unused', rate, timecode },
      ...drawn.map(([, words]): Text => ({ text: 'clip', words, rate, timecode })),
    ]);
    expect(new Set(counted).size).toBe(4);
    for (const [at, [index, label]] of drawn.entries())
      expect(stills[at]?.[index], label).toBe(counted?.[index]);
  });

  const names = [
    // As long as all of it is in the picture: what comes of each is seen.
    "it's 10:30 50% {x} [a],b;c=d %{pts}",
    'line\nbreak \\ "quoted"',
    'جرس 鐘',
    'raw\udcff',
    'n'.repeat(300),
    ...further("it's 10:30 at 50% {x}", 'جرس القلعة', '[a],b;c=d', '%{pts}', '鐘'),
  ];
  describe('names', () => {
    let drawn = new Map<string, string[]>();
    beforeAll(async () => {
      const all = ['-', ...names];
      const frames = await framesOf(
        all.map((words): Text => ({ text: 'clip', words, rate: '24', timecode: '01:00:00:00' })),
        join(sharedFolder, 'names-drawn'),
      );
      drawn = new Map(all.map((name, index) => [name, frames[index] as string[]]));
    });

    test.each(names)('the name %j is drawn and breaks nothing', (name) => {
      expect(drawn.get(name)).toHaveLength(4);
      expect(new Set(drawn.get(name)).size).toBe(1);
      expect(drawn.get(name)?.[0]).not.toBe(drawn.get('-')?.[0]);
    });
  });

  test('folders with every special character are read from and written to', async () => {
    const folder = join(freshFolder('odd'), "it's [a],b;c:d=%d \\ {x}");
    mkdirSync(folder, { recursive: true });
    const source = await makeMovie(join(folder, 'clip.mov'), { frames: 3, rate: '24' });
    for (const { checked } of await makeAll(source, byTurns([review, vc3], 0), folder))
      expect(checked.findings).toEqual([]);
  });
});
