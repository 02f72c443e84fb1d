/** Every frame is found again: from bin, timeline and lists of a mixed day back to the frames of its sources, by labels that are counted one by one. */
import { describe, expect, test } from 'vitest';
import { dayOrder } from '../../handover/day-clock.ts';
import type { DayRoll } from '../../handover/day.ts';
import { type ReadEvent, readEdl } from '../../handover/edl/read.ts';
import { edlsOf } from '../../handover/edl/roll.ts';
import { shortReels } from '../../handover/edl/reels.ts';
import { edlText } from '../../handover/edl/write.ts';
import { reelOfClip, cutOf } from '../../handover/counting.ts';
import { dayBin } from '../../handover/otio/bin.ts';
import { jsonPieces } from '../../handover/otio/json.ts';
import { clipsOf, type OtioClip, readOtio } from '../../handover/otio/read.ts';
import { sourceFrameAt } from '../../handover/relink.ts';
import { formatTimecode } from '../../media/time/timecode.ts';
import { modelDay } from '../support/day-model.ts';
import { labelAfter } from '../support/labels.ts';
import { mixedDay } from '../support/mixed-day.ts';

/** What is true of each clip, by hand from what was "recorded" (test/support/mixed-day.ts). */
interface Truth {
  readonly reel: string;
  readonly frames: number;
  readonly sourceStart: string;
  readonly sourceBase: number;
  /** The hours, minutes and seconds of the source, and the part of the second that had gone by, rounded down (docs/mechanisms/cadence.md). */
  readonly cutStart: string;
  readonly cutBase: number;
  readonly file: (index: number) => { file: string; frame: number };
}
const movie = (name: string) => (frame: number) => ({ file: `${name}.mov`, frame });
const LONG_REEL = 'B001C001_310304_R2CD';
const truths: Readonly<Record<string, Truth>> = {
  A001C001: {
    reel: 'A001',
    frames: 600,
    sourceStart: '01:00:50;00',
    sourceBase: 30,
    cutStart: '01:00:50;00',
    cutBase: 30,
    file: movie('A001C001'),
  },
  A001C002: {
    reel: 'A001',
    frames: 400,
    sourceStart: '23:59:55;00',
    sourceBase: 30,
    cutStart: '23:59:55;00',
    cutBase: 30,
    file: movie('A001C002'),
  },
  B001C001: {
    reel: LONG_REEL,
    frames: 480,
    sourceStart: '10:00:00:10',
    sourceBase: 48,
    cutStart: '10:00:00:05',
    cutBase: 24,
    file: movie('B001C001'),
  },
  B001C002: {
    reel: LONG_REEL,
    frames: 96,
    sourceStart: '23:59:59:40',
    sourceBase: 48,
    cutStart: '23:59:59:20',
    cutBase: 24,
    file: movie('B001C002'),
  },
  C001C001: {
    reel: 'C001',
    frames: 96,
    sourceStart: '10:00:00:00',
    sourceBase: 24,
    cutStart: '10:00:00:00',
    cutBase: 24,
    file: (index) =>
      index < 40
        ? { file: 'C001C001_001.mov', frame: index }
        : index < 80
          ? { file: 'C001C001_002.mov', frame: index - 40 }
          : { file: 'C001C001_003.mov', frame: index - 80 },
  },
  C001C002: {
    reel: 'C001',
    frames: 50,
    sourceStart: '23:59:59:00',
    sourceBase: 24,
    cutStart: '23:59:59:00',
    cutBase: 24,
    file: (index) => ({ file: `C001C002_000${900 + index}.dpx`, frame: 900 + index }),
  },
};

/** A hundred frames over the day, the ends of every clip among them; drawn alike every time. */
function drawn(): { name: string; index: number }[] {
  let state = Number(process.env.RUSHLIGHT_SEED ?? '20261130') >>> 0;
  const next = (below: number): number => {
    state = (Math.imul(state, 1_664_525) + 1_013_904_223) >>> 0;
    return Math.floor((state / 2 ** 32) * below);
  };
  const names = Object.keys(truths);
  const ends = names.flatMap((name) =>
    [0, (truths[name]?.frames ?? 1) - 1].map((index) => ({ name, index })),
  );
  const random = Array.from({ length: 100 - ends.length }, () => {
    const name = names[next(names.length)] as string;
    return { name, index: next(truths[name]?.frames ?? 1) };
  });
  return [...ends, ...random];
}

const PROXY = 'DEFAULT_MEDIA';
const MASTER = 'master:grading-master-exr';

/** The label of a value, counted from midnight of its own rate. */
const labelOf = (value: number, base: number, drop: boolean): string =>
  formatTimecode({ frame: value, base, drop });

async function documents(): Promise<{
  rolls: DayRoll[];
  clips: Map<string, OtioClip>;
  events: Map<string, ReadEvent>;
}> {
  const rolls = await mixedDay();
  const all = rolls.flatMap(({ clips }) => clips);
  const bin = readOtio([...jsonPieces(dayBin(modelDay(rolls), rolls, dayOrder(all)))].join(''));
  // The bin has some clips a second time, in the stacks of what ran together; folders come first.
  const clips = new Map<string, OtioClip>();
  for (const clip of clipsOf(bin)) if (!clips.has(clip.name)) clips.set(clip.name, clip);
  const reels = shortReels(all.map((clip) => reelOfClip(clip, cutOf(clip))));
  const events = new Map<string, ReadEvent>();
  for (const roll of rolls)
    for (const { edl } of edlsOf({ roll, reels, amfOf: () => null }).edls)
      for (const event of readEdl(edlText(edl), edl.rate).events) events.set(event.clipName ?? '', event);
  return { rolls, clips, events };
}

test('a hundred frames of a mixed day, from proxy and master in the bin to the frame of the source', async () => {
  const { clips } = await documents();
  const wrong: unknown[] = [];
  for (const { name, index } of drawn()) {
    const clip = clips.get(name);
    const truth = truths[name] as Truth;
    const expected = {
      reel: truth.reel,
      ...truth.file(index),
      index,
      field: null,
      label: labelAfter(truth.sourceStart, truth.sourceBase, index),
    };
    // Numbered frames of which nothing but a master was made are cut by that.
    for (const key of name === 'C001C002' ? [PROXY, 'source'] : [PROXY, MASTER, 'source']) {
      const range = clip?.references.get(key)?.available_range;
      const found =
        clip === undefined ? null : sourceFrameAt(clip, key, (range?.start_time.value ?? 0) + index);
      const { value = -1, rate: _, ...rest } = found ?? {};
      const said = { ...rest, label: labelOf(value, truth.sourceBase, truth.sourceStart.includes(';')) };
      if (JSON.stringify(Object.entries(said).sort()) !== JSON.stringify(Object.entries(expected).sort()))
        wrong.push({ name, index, key, said, expected });
    }
  }
  expect(wrong).toEqual([]);
});

test('the same frames carry one reel and, by the policy, labels that are counted from one start', async () => {
  const { clips } = await documents();
  for (const [name, truth] of Object.entries(truths)) {
    const clip = clips.get(name);
    const [proxy, other, source] = [PROXY, MASTER, 'source'].map((key) => clip?.references.get(key));
    const master = other ?? proxy;
    const reelOf = (reference: typeof proxy) =>
      (reference?.metadata.rushlight as { reel: string } | undefined)?.reel;
    expect([name, reelOf(master), reelOf(source)]).toEqual([name, truth.reel, truth.reel]);
    if (proxy?.OTIO_SCHEMA === 'ExternalReference.1') expect(reelOf(proxy)).toBe(truth.reel);
    for (const made of [proxy, master]) {
      const { start_time: start, duration } = made?.available_range ?? {};
      expect(duration?.value).toBe(truth.frames);
      expect(labelOf(start?.value ?? 0, truth.cutBase, truth.cutStart.includes(';'))).toBe(truth.cutStart);
    }
    if (master?.OTIO_SCHEMA !== 'ImageSequenceReference.1') throw new Error(`${name} has no master`);
    // The number in a frame's name is the count of its label (profiles: first frame by timecode).
    expect(master.start_frame).toBe(master.available_range?.start_time.value);
  }
});

test('a hundred frames from the lists: reel and label to the frame of the source', async () => {
  const { events, clips } = await documents();
  expect([...events.keys()].sort()).toEqual(Object.keys(truths).sort());
  for (const { name, index } of drawn()) {
    const truth = truths[name] as Truth;
    const event = events.get(name) as ReadEvent;
    expect(event).toMatchObject({
      fullReel: truth.reel,
      sourceFrames: truth.frames,
      recordFrames: truth.frames,
      speed: name.startsWith('B') ? 24 : null,
    });
    const label = labelAfter(formatTimecode(event.sourceIn), truth.cutBase, index);
    expect(label).toBe(labelAfter(truth.cutStart, truth.cutBase, index));
    // An editor's out point of a one-frame cut here leads to the same frame of the source by way of the bin.
    const clip = clips.get(name) as OtioClip;
    const start = clip.references.get(PROXY)?.available_range?.start_time.value ?? 0;
    expect(sourceFrameAt(clip, PROXY, start + index)).toMatchObject(truth.file(index));
  }
});

test('of a clip whose fields were split, every frame back to a field of a frame, by bin and list', async () => {
  const [roll] = await mixedDay();
  const [clip] = roll?.clips ?? [];
  const cut = clip === undefined ? null : cutOf(clip);
  const recorded = clip?.recorded ?? null;
  if (roll === undefined || clip === undefined || cut === null || recorded === null || cut.start === null)
    throw new Error('a day without a clip');
  const made = {
    ...cut,
    frames: 2 * recorded.frames,
    rate: { num: 2 * recorded.rate.num, den: recorded.rate.den },
    start: { ...cut.start, frame: 2 * cut.start.frame, base: 2 * cut.start.base },
    cadence: { ...cut.cadence, split: { earlier: 'bottom' } as const },
  };
  const day = { ...clip, deliverables: [made] };
  const only = [{ ...roll, clips: [day] }];
  const bin = readOtio([...jsonPieces(dayBin(modelDay(only), only, dayOrder([day])))].join(''));
  const [read] = clipsOf(bin);
  const first = read?.references.get(PROXY)?.available_range?.start_time.value ?? 0;
  const found = Array.from({ length: made.frames }, (_, frame) => {
    const source = read === undefined ? null : sourceFrameAt(read, PROXY, first + frame);
    return [source?.index, source?.field];
  });
  expect(found.slice(0, 5)).toEqual([
    [0, 'bottom'],
    [0, 'top'],
    [1, 'bottom'],
    [1, 'top'],
    [2, 'bottom'],
  ]);
  expect([found.length, found.at(-1)]).toEqual([2 * recorded.frames, [recorded.frames - 1, 'top']]);
  const [list] = edlsOf({
    roll: { ...roll, clips: [day] },
    reels: new Map(),
    amfOf: () => null,
  }).edls;
  const text = edlText((list as NonNullable<typeof list>).edl);
  expect(text).toContain('* EACH FIELD IS A FRAME, BOTTOM FIELD FIRST');
  expect(text).not.toContain('M2 ');
  const [event] = readEdl(text, made.rate).events;
  expect(event?.sourceIn).toEqual(made.start);
  expect(event?.sourceFrames).toBe(made.frames);
});

describe('what is no frame of the clip is none of the source', () => {
  test.each([-1, 600, 0.5])('%s', async (offset) => {
    const { clips } = await documents();
    const clip = clips.get('A001C001') as OtioClip;
    const start = clip.references.get(PROXY)?.available_range?.start_time.value ?? 0;
    expect(sourceFrameAt(clip, PROXY, start + offset)).toBeNull();
  });
});
