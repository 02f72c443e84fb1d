/** Faults between the decoder's tap and the scaler, and between the scaler and the encoder: what the encoder is given is held against the source. */
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import type { Job } from '../../ledger/job.ts';
import { type FormName, makeClip, type PictureName } from '../campaign/material.ts';
import { runCase } from '../campaign/run-case.ts';
import { freshFolder, sharedFolder } from '../support/folder.ts';
import { everyRow, further } from '../support/lane.ts';
import { jobFor } from '../support/work.ts';

const material = join(sharedFolder, 'campaign');
const profile = 'test/fixtures/profiles/small-vc3.yaml';
const CODE = 'encoder-input-differs';

async function jobOf(picture: PictureName, form: FormName, wanted = profile): Promise<Job> {
  return await jobFor(
    await makeClip(material, { picture, form, take: 0 }),
    join(sharedFolder, 'encoder-input-jobs'),
    [wanted],
  );
}

/** `from` a text of the graph, `to` another one. */
type Fault = readonly [what: string, from: string, to: string];
/** Of 10 bits, in front of the scaler. */
const before = (filters: string): readonly [string, string] => ['[in0]scale=', `[in0]${filters},scale=`];
/** Of 10 bits as well, behind it. */
const behind = (filters: string): readonly [string, string] => [',setsar=1,', `,setsar=1,${filters},`];
const one = "enable='eq(n\\,9)'";

const faults: readonly Fault[] = [
  ['Cb and Cr exchanged in one frame', ...behind(`swapuv=${one}`)],
  ['a gain of 1.005 in luma', ...before('lutyuv=y=(val-64)*1.005+64')],
  ['chroma moved by one sample', ...behind('chromashift=cbh=1:crh=1')],
  // In npm test with the code of the matrix: the row wrong-matrix of faults.test.ts.
  ...further<Fault>(
    ['every frame a 75/25 mix with the one before', ...before("tmix=frames=2:weights='1 3'")],
    ['the matrix of BT.601 for that of BT.709', 'in_color_matrix=bt709', 'in_color_matrix=smpte170m'],
    [
      'every frame a 75/25 mix with the one before, behind the scaler',
      ...behind("tmix=frames=2:weights='1 3'"),
    ],
    ['saturation 0.9', ...behind('lutyuv=u=(val-512)*0.9+512:v=(val-512)*0.9+512')],
    ['a gamma of 1.02', ...before('lutyuv=y=64+876*pow(clip((val-64)/876\\,0\\,1)\\,1/1.02)')],
    ['a blur of 3 x 3', ...behind('avgblur=sizeX=1')],
    ['a mosaic', ...behind('pixelize=w=8:h=8')],
    ['lines exchanged in pairs', ...behind('il=ls=1:cs=1')],
    ['limited range taken for full', 'in_range=limited', 'in_range=full'],
    [
      'the picture moved by half a sample',
      ...before('scale=w=2*iw:h=ih:flags=bicubic,scroll=hpos=1/768,scale=w=iw/2:h=ih:flags=bicubic'),
    ],
    ['another kernel', 'flags=bicubic+', 'flags=bilinear+'],
    ['one frame a repeat of the one before', ...behind('shuffleframes=0 0 2 3 4 5')],
    ['one frame as a mosaic', ...behind(`pixelize=w=8:h=8:${one}`)],
    ['16 steps of luma in one frame', ...behind(`lutyuv=y=floor(val/64)*64:${one}`)],
  ),
];

describe('held, and by what the encoder was given', () => {
  test.each(faults)('%s', async (_what, from, to) => {
    const { verdict, codes, done, reported } = await runCase(
      // Of another size than the profile's: everything goes through the scaler.
      await jobOf('chart', 'film-two-tracks', 'test/campaign/profiles/fitted-vc3.yaml'),
      { do: 'graph', stage: 'encoder', from, to },
      join(freshFolder('encoder-input'), 'case'),
    );
    expect(done).toBe(true);
    expect([verdict, codes.includes(CODE)], reported.join('; ')).toEqual(['held', true]);
  });

  // In npm test with the code of fields: the row wrong-field-order of faults.test.ts.
  const otherOrder = async (): Promise<void> => {
    const { codes, done } = await runCase(
      await jobOf('chart', 'fields-top', 'test/campaign/profiles/full-vc3.yaml'),
      { do: 'graph', stage: 'encoder', from: 'parity=tff', to: 'parity=bff' },
      join(freshFolder('encoder-input'), 'case'),
    );
    expect([done, codes.includes(CODE)]).toEqual([true, true]);
  };
  if (everyRow) test('fields taken in the other order', otherOrder);

  test('text that is drawn where none may be', async () => {
    const { codes, done } = await runCase(
      await jobOf('chart', 'film-two-tracks', 'test/fixtures/profiles/small-h264.yaml'),
      {
        do: 'graph',
        stage: 'encoder',
        from: ',setparams=',
        to: ',drawbox=x=0:y=60:w=iw:h=60:color=red@0.1:t=fill,setparams=',
      },
      join(freshFolder('encoder-input'), 'case'),
    );
    expect([done, codes.includes(CODE)]).toEqual([true, true]);
  });
});

describe('clips without a fault are ready', () => {
  test.each<[PictureName, FormName, string]>([
    ['cuts', 'upright', 'test/campaign/profiles/small-rdd36.yaml'],
    ...further<[PictureName, FormName, string]>(
      ['chart', 'fields-bottom', 'test/campaign/profiles/full-vc3.yaml'],
      ['static-on-a-screen', 'full-range', 'test/campaign/profiles/fitted-vc3.yaml'],
      ['scrolling-noise', 'drop-frame-30', 'test/campaign/profiles/filled-h264.yaml'],
      ['zoom', 'film-wide-colour', 'editorial-rdd36'],
      ['flashes', 'whole-24', 'test/fixtures/profiles/small-h264.yaml'],
    ),
  ])('%s as %s in %s', async (picture, form, wanted) => {
    const { verdict, codes, reported } = await runCase(
      await jobOf(picture, form, wanted),
      { do: 'none' },
      join(freshFolder('encoder-input'), 'case'),
    );
    expect([verdict, codes], reported.join('; ')).toEqual(['ready', []]);
  });
});
