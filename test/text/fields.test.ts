/** Every text that a profile can ask for, in real encodes: right ones pass on both sides, and each one that is wrong is found on both. */
import { beforeAll, describe, expect, test } from 'vitest';
import { loadProfiles } from '../../profiles/load.ts';
import type { Profile } from '../../profiles/schema.ts';
import { type BurntIn, isWatermark } from '../../proof/text/form.ts';
import { freshFolder } from '../support/folder.ts';
import { further } from '../support/lane.ts';
import { seenTexts, textsOf } from '../support/texts.ts';

const size = { width: 640, height: 360 };
const frames = 13;
const timed = (source: string): string => `${source}:s=${size.width}x${size.height}:r=25`;
const sources = {
  chart: timed('testsrc2=d=4'),
  bright: `${timed('testsrc2=d=4')},lutyuv=y=170+val/4,noise=alls=20:allf=t:all_seed=3`,
  noise: `${timed('color=c=gray:d=4')},noise=alls=60:allf=t:all_seed=61`,
} as const;

let texts: readonly BurntIn[] = [];
let inPq: readonly BurntIn[] = [];
beforeAll(async () => {
  const { profiles } = await loadProfiles({ wanted: ['review-h264', 'review-hdr'] });
  const written = (profile: Profile | undefined): Profile => {
    if (profile === undefined) throw new Error('no profile');
    return {
      ...profile,
      raster: { policy: 'native', width: null, height: null, multiple_of: 2, enlarge: false },
      burn_in: [
        { text: 'clip', place: 'top-left', height_percent: 5 },
        { text: 'camera', place: 'top-left', height_percent: 5 },
        { text: 'date', place: 'top-right', height_percent: 5 },
        { text: 'look', place: 'top-right', height_percent: 5 },
        { text: 'words', words: 'Nước đá: 50% {x} \\', place: 'bottom-left', height_percent: 5 },
        { text: 'frame', place: 'bottom-right', height_percent: 5 },
        { text: 'timecode', place: 'bottom-right', height_percent: 5 },
      ],
      watermark: { words: null, layout: 'repeated', height_percent: 5, opacity_percent: 30 },
    };
  };
  const [sdr, pq] = profiles.map(({ profile }) => written(profile.kind === 'movie' ? profile : undefined));
  texts = textsOf(sdr as Profile, { ...size, frames });
  // Of letters that are as bright as a page is in PQ; a clip of BT.709 is none that the profile takes.
  inPq = texts.map((item) => ({ ...item, look: { ...item.look, letters: 143, cover: { num: 3, den: 5 } } }));
  expect(pq?.name).toBe('review-hdr');
});

const wordsNow = (): Record<string, unknown> =>
  Object.fromEntries(texts.map(({ text, words }) => [text, words.kind === 'same' ? words.text : words.kind]));

test('the texts say what the clip, the settings and the profile say', () => {
  expect(wordsNow()).toEqual({
    clip: 'A001C001',
    camera: 'Κάμερα Б',
    // 23:30 UTC is half past midnight of the day after, in Berlin's winter.
    date: '2031-03-05',
    look: 'as recorded',
    words: 'Nước đá: 50% {x} \\',
    frame: 'frame',
    timecode: 'timecode',
    watermark: 'For Ines Alder',
  });
});

describe('right texts', () => {
  test.each<[keyof typeof sources, 'h264' | 'h265' | 'rdd36' | 'h264-coarse', 'bt709' | 'pq']>([
    ['bright', 'h264', 'bt709'],
    ['noise', 'h265', 'pq'],
    ...further<[keyof typeof sources, 'h264' | 'h265' | 'rdd36' | 'h264-coarse', 'bt709' | 'pq']>(
      ['chart', 'rdd36', 'bt709'],
      ['bright', 'rdd36', 'bt709'],
      ['bright', 'h265', 'bt709'],
      ['chart', 'h264-coarse', 'bt709'],
    ),
  ])('over %s in %s, %s: nothing is found', async (source, codec, transfer) => {
    const stated = transfer === 'pq' ? inPq : texts;
    const { given, file } = await seenTexts({
      ...{ stated, drawn: stated, size, frames, codec, transfer },
      source: sources[source],
      folder: freshFolder('texts'),
    });
    expect([given.faults, file.faults, given.frames, file.frames]).toEqual([[], [], frames, frames]);
  });
});

/** The same text with other words, place or look. */
type Change = (item: BurntIn) => BurntIn | null;
const same =
  (text: string): Change =>
  (item) => ({ ...item, words: { kind: 'same', text } });
/** Towards the middle of the picture. */
const moved: Change = (item) => {
  const across = item.box.left > size.width / 2 ? -8 : 8;
  const down = item.box.top > size.height / 2 ? -4 : 4;
  return {
    ...item,
    letters: {
      ...item.letters,
      left: item.letters.left + across,
      baseline: item.letters.baseline + down,
    },
    box: { ...item.box, left: item.box.left + across, top: item.box.top + down },
  };
};
const letters =
  (code: number): Change =>
  (item) => ({ ...item, look: { ...item.look, letters: code } });

describe('wrong texts, each in the input of the encoder and in the file', () => {
  const late: Change = (item) =>
    item.words.kind === 'timecode'
      ? {
          ...item,
          words: { ...item.words, start: { ...item.words.start, frame: item.words.start.frame - 1 } },
        }
      : item.words.kind === 'frame'
        ? { ...item, words: { ...item.words, start: item.words.start + 1 } }
        : null;
  const nights: Record<string, Record<string, Change>> = {
    'labels beside their frames, names of other clips, and absent ones': {
      timecode: late,
      frame: late,
      clip: same('A001C002'),
      camera: same('Κάμερα В'),
      date: () => null,
      look: () => null,
      words: same('Nước đà: 50% {x} \\'),
      watermark: same('For Ines Aldar'),
    },
    'labels that stand still, and places that are others': {
      timecode: same('01:00:00:00'),
      frame: same('0000'),
      clip: moved,
      camera: moved,
      date: same('2031-03-04'),
      look: moved,
      words: moved,
      watermark: moved,
    },
  };
  test.each(Object.entries(nights))('%s', async (_what, changes) => {
    const drawn = texts.flatMap((item) => {
      const change = changes[item.text];
      if (change === undefined) throw new Error(`nothing is wrong with ${item.text}`);
      const changed = change(item);
      return changed === null ? [] : [changed];
    });
    const { given, file } = await seenTexts({
      ...{ stated: texts, drawn, size, frames, codec: 'h264', transfer: 'bt709' },
      source: sources.chart,
      folder: freshFolder('texts'),
    });
    const wrong = (faults: readonly { readonly item: number }[]) => new Set(faults.map(({ item }) => item));
    const all = new Set(texts.keys());
    expect(wrong(given.faults)).toEqual(all);
    expect(wrong(file.faults), JSON.stringify(file.faults, null, 1)).toEqual(all);
  });

  test('a watermark that one frame does not have, and a text that is covered in one', async () => {
    const isMarked = texts.map(isWatermark);
    const { given, file } = await seenTexts({
      ...{ stated: texts, drawn: texts, size, frames, codec: 'h264', transfer: 'bt709' },
      source: sources.bright,
      folder: freshFolder('texts'),
      edit: (filters) => {
        const mark = texts.find(isWatermark) as BurntIn;
        const clip = texts[0] as BurntIn;
        const over = ({ box: { left, top, width, height } }: BurntIn, at: number, how: string): string =>
          `${how}=x=${left}:y=${top}:w=${width}:h=${height}${how === 'drawbox' ? ':color=gray:t=fill' : ''}:enable=eq(n\\,${at})`;
        return `${filters},${over(mark, 9, 'delogo')},${over(clip, 11, 'drawbox')}`;
      },
    });
    const found = (faults: readonly { readonly frame: number; readonly item: number }[]) => [
      ...new Set(faults.map(({ frame, item }) => `text ${item} of frame ${frame}`)),
    ];
    expect(found(given.faults)).toEqual([`text ${isMarked.indexOf(true)} of frame 9`, 'text 0 of frame 11']);
    expect(found(file.faults)).toEqual([`text ${isMarked.indexOf(true)} of frame 9`, 'text 0 of frame 11']);
  });

  // SMPTE ST 2084: 100 cd/m² are 0.508 of the signal, 1000 are 0.752; ITU-R BT.2408, Table 1: 203 are 0.58.
  test.each([
    [100, 16 + Math.round(219 * 0.508)],
    [1000, 16 + Math.round(219 * 0.752)],
  ])('letters of %i cd/m² in PQ, where 203 are stated', async (_light, code) => {
    const drawn = inPq.map((item) => (isWatermark(item) ? item : (letters(code)(item) as BurntIn)));
    const { given, file } = await seenTexts({
      ...{ stated: inPq, drawn, size, frames: 4, codec: 'h265', transfer: 'pq' },
      source: sources.chart,
      folder: freshFolder('texts'),
    });
    const wrong = (faults: readonly { readonly item: number }[]) => new Set(faults.map(({ item }) => item));
    const lines = new Set([...texts.keys()].filter((at) => !isWatermark(texts[at] as BurntIn)));
    expect(wrong(given.faults)).toEqual(lines);
    expect(wrong(file.faults), JSON.stringify(file.faults, null, 1)).toEqual(lines);
    expect(file.faults[0]?.expected).toBe('letters of 143');
  });
});
