/** The recipe's command on real clips: size, shape and the way up. */
import { execFileSync } from 'node:child_process';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { freshFolder } from '../../support/folder.ts';
import { further } from '../../support/lane.ts';
import { factsOf, makeAll } from '../../support/make.ts';
import { ffmpeg, makeMovie } from '../../support/media.ts';
import { asShot, byTurns, lossless, planes, recipeProfiles, tags } from './support.ts';

const { vc3, rdd36, review } = await recipeProfiles();

describe('geometry', () => {
  /** Where the top of an upright picture was in one that must be turned clockwise by so much. */
  const brightAfter: Readonly<Record<string, string>> = { '90': 'right', '180': 'bottom', '270': 'left' };
  test.each([90, ...further(180, 270)])(
    'a clip that asks to be turned (tag %i) comes out upright, as MediaInfo says that it must be turned',
    async (turn) => {
      const folder = freshFolder('turned');
      const flatMovie = join(folder, 'flat.mov');
      await ffmpeg(
        '-f',
        'lavfi',
        '-i',
        'color=black:s=384x320:r=24,drawbox=w=384:h=160:c=white:t=fill',
        '-vf',
        tags('bt709', 'bt709', 'bt709', 'tv'),
        ...lossless,
        flatMovie,
      );
      const source = join(folder, 'clip.mov');
      // The file's own matrix as MediaInfo reads it (clockwise): how a writer is asked for one, and in which sense, differs between versions of ffmpeg.
      const rotation = (): string =>
        String(
          Number.parseFloat(
            execFileSync('mediainfo', ['--Output=Video;%Rotation%', source], { encoding: 'utf8' }) || '0',
          ),
        );
      await ffmpeg(
        '-i',
        flatMovie,
        '-map',
        '0:v',
        '-c',
        'copy',
        '-metadata:s:v:0',
        `rotate=${turn}`,
        '-timecode',
        '01:00:00:00',
        source,
      );
      if (rotation() === '0')
        await ffmpeg(
          '-display_rotation',
          String(turn),
          '-i',
          flatMovie,
          '-map',
          '0:v',
          '-c',
          'copy',
          '-timecode',
          '01:00:00:00',
          source,
        );
      const clockwise = rotation();
      const facts = await factsOf(source);
      const bright = brightAfter[clockwise];
      expect(String(facts.video.rotation)).toBe(clockwise);
      expect(bright).toBeDefined();
      const [made] = await makeAll(source, [vc3], folder);
      expect(made?.checked.findings).toEqual([]);
      const { width, height } = made?.outcome ?? { width: 0, height: 0 };
      expect([width, height]).toEqual(turn === 180 ? [384, 320] : [320, 384]);
      const [frame] = (await planes(made?.path ?? '', width * height * 2)) as [Buffer];
      const luma = (x: number, y: number): number => frame[y * width + x] as number;
      const sides = {
        left: luma(8, height >> 1),
        right: luma(width - 9, height >> 1),
        top: luma(width >> 1, 8),
        bottom: luma(width >> 1, height - 9),
      };
      for (const [side, value] of Object.entries(sides)) {
        if (side === bright) expect(value).toBeGreaterThan(200);
        else if ({ left: 'right', right: 'left', top: 'bottom', bottom: 'top' }[side] === bright)
          expect(value).toBeLessThan(40);
      }
    },
  );

  test('pixels that are not square become square', async () => {
    const folder = freshFolder('aspect');
    const source = join(folder, 'clip.mov');
    await ffmpeg(
      '-f',
      'lavfi',
      '-i',
      'testsrc2=s=360x288:r=25',
      '-vf',
      `setsar=16/15,${tags('bt709', 'bt709', 'bt709', 'tv')}`,
      ...lossless,
      source,
    );
    for (const { checked, outcome } of await makeAll(source, byTurns([review, vc3], 0), folder)) {
      expect([outcome.width, outcome.height]).toEqual([384, 288]);
      expect(checked.findings).toEqual([]);
    }
  });

  test('fill keeps the middle and cuts the edges', async () => {
    const folder = freshFolder('fill');
    const source = join(folder, 'clip.mov');
    // White in the middle half, black in the outer quarters: 640x180 filled into 320x180 shows the white alone.
    await ffmpeg(
      '-f',
      'lavfi',
      '-i',
      'color=black:s=640x180:r=24,drawbox=x=160:w=320:h=180:c=white:t=fill',
      '-vf',
      tags('bt709', 'bt709', 'bt709', 'tv'),
      ...lossless,
      source,
    );
    const [made] = await makeAll(
      source,
      [{ ...vc3, raster: { policy: 'fill', width: 320, height: 180, multiple_of: 2, enlarge: true } }],
      folder,
    );
    expect(made?.checked.findings).toEqual([]);
    const [frame] = (await planes(made?.path ?? '', 320 * 180 * 2)) as [Buffer];
    for (const x of [2, 160, 317]) expect(frame[90 * 320 + x]).toBeGreaterThan(225);
  });

  test.each<readonly [1 | 2, readonly [number, number]]>([
    [1, [321, 181]],
    // As every other test has it.
    ...further<readonly [1 | 2, readonly [number, number]]>([2, [320, 180]]),
  ])('odd sizes with multiples of %s', async (multiple, [width, height]) => {
    const folder = freshFolder('odd');
    const source = await makeMovie(join(folder, 'clip.mov'), {
      size: '321x181',
      frames: 6,
      picture: 'testsrc',
    });
    const raster = { ...asShot, multiple_of: multiple };
    for (const { checked, outcome } of await makeAll(
      source,
      byTurns(
        [
          { ...vc3, raster },
          { ...rdd36, raster },
        ],
        multiple,
      ),
      folder,
    )) {
      expect([outcome.width, outcome.height]).toEqual([width, height]);
      expect(checked.findings).toEqual([]);
    }
  });
});
