/** How deliverables run: off-speed clips, and clips without timecode. Counting is that of SMPTE ST 12-1; the checker reckons it a second time. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { labelText, lastsAsLong, rateByClip, samplesByClip, startByClip } from '../../check/cadence.ts';
import type { ClipFacts } from '../../media/facts.ts';
import { labelAtRate } from '../../media/time/off-speed.ts';
import { formatRatio, knownRates, parseRate, ratio, timecodeBase } from '../../media/time/rate.ts';
import {
  addFrames,
  formatTimecode,
  framesPerDay,
  mayDrop,
  parseTimecode,
} from '../../media/time/timecode.ts';
import type { Timing } from '../../media/time/timing.ts';
import { cadenceOf } from '../../profiles/outcome/cadence.ts';
import { clipFacts } from '../support/facts.ts';

const film = ratio(24000, 1001);
const policy = { timecode: { missing: 'hold' }, keepsTime: false, noGridFor: null } as const;
const codesOf = (decided: ReturnType<typeof cadenceOf>): string[] =>
  ('findings' in decided ? decided.findings : decided.notes).map(({ code }) => code);
const made = (facts: ClipFacts, over: Partial<Parameters<typeof cadenceOf>[1]> = {}) => {
  const decided = cadenceOf(facts, { ...policy, ...over });
  if ('findings' in decided) throw new Error(JSON.stringify(decided.findings));
  return decided;
};
const at = (rate: string, label: string | null, timing: Timing = {}): ClipFacts =>
  clipFacts({
    video: { rate: parseRate(rate), frames: 72 },
    timecode: label === null ? null : parseTimecode(label, parseRate(rate)),
    timing,
  });

describe('labels at another rate', () => {
  test.each([
    ['60000/1001', '10:00:00:00', '24000/1001', '10:00:00:00'],
    ['60000/1001', '10:00:00:59', '24000/1001', '10:00:00:23'],
    ['60000/1001', '10:00:00:02', '24000/1001', '10:00:00:00'],
    ['60000/1001', '10:00:00:03', '24000/1001', '10:00:00:01'],
    ['60000/1001', '00:01:00;04', '24000/1001', '00:01:00:01'],
    ['60000/1001', '00:01:00;04', '30000/1001', '00:01:00;02'],
    ['60000/1001', '00:01:00;05', '30000/1001', '00:01:00;02'],
    ['60000/1001', '23:59:59;59', '24000/1001', '23:59:59:23'],
    ['120000/1001', '00:01:00;08', '30000/1001', '00:01:00;02'],
    ['120000/1001', '12:34:56;119', '60000/1001', '12:34:56;59'],
    ['50', '01:02:03:49', '25', '01:02:03:24'],
    ['50', '01:02:03:49', '24000/1001', '01:02:03:23'],
    ['25', '01:02:03:24', '24000/1001', '01:02:03:23'],
    ['60', '01:02:03:30', '24', '01:02:03:12'],
    ['30000/1001', '12:34:56;12', '24', '12:34:56:09'],
    ['48', '00:00:00:47', '24', '00:00:00:23'],
  ])('%s, %s, at %s: %s', (from, label, to, expected) => {
    const source = parseTimecode(label, parseRate(from));
    const made = labelAtRate(source, parseRate(to));
    expect(formatTimecode(made)).toBe(expected);
    expect(
      startByClip(
        { timecode: source, timing: {} },
        { timecodeFrom: 'file', timecodeField: null },
        parseRate(to),
      ),
    ).toBe(expected);
  });

  const anyRate = fc.constantFrom(...knownRates);
  const counts = fc.tuple(anyRate, fc.boolean(), fc.nat({ max: 12_000_000 })).map(([rate, asked, any]) => {
    const drop = asked && mayDrop(rate);
    const base = timecodeBase(rate);
    return { rate, timecode: { frame: any % framesPerDay(base, drop), base, drop } };
  });

  test('the checker counts labels as the maker does, minute by minute', () => {
    fc.assert(
      fc.property(counts, ({ timecode }) => {
        expect(labelText(timecode)).toBe(formatTimecode(timecode));
      }),
    );
  });

  test('every label of a clip has one at every slower rate, and the checker finds the same', () => {
    fc.assert(
      fc.property(counts, anyRate, ({ rate, timecode }, to) => {
        fc.pre(timecodeBase(to) <= timecodeBase(rate));
        expect(startByClip({ timecode, timing: {} }, { timecodeFrom: 'file', timecodeField: null }, to)).toBe(
          formatTimecode(labelAtRate(timecode, to)),
        );
      }),
    );
  });
});

describe('off-speed', () => {
  const slow: Timing = { projectRate: film, offSpeed: 'project-rate' };

  test.each([
    ['60000/1001', '5/2'],
    ['60', '1001/400'],
    ['50', '1001/480'],
    ['25', '1001/960'],
    ['120000/1001', '5'],
    ['48000/1001', '2'],
    ['24', '1001/1000'],
  ])('%s at 23.976 lasts %s times as long, exactly; no frame is repeated or left out', (rate, factor) => {
    const facts = at(rate, '10:00:00:00', slow);
    const { cadence, rate: played, notes } = made(facts);
    expect(played).toEqual(film);
    expect(formatRatio(cadence.offSpeed?.slower ?? film)).toBe(factor);
    expect(notes.map(({ code }) => code)).toEqual(['off-speed-played']);
    // 72 frames of 1001 ticks of 1/24000 s.
    const time = { ticks: 72 * 1001, timeBase: ratio(1, 24000), rate: film };
    expect(lastsAsLong(facts, cadence, time)).toBe(true);
    expect(lastsAsLong(facts, cadence, { ...time, ticks: 71 * 1001 })).toBe(false);
    expect(rateByClip(facts, cadence)).toEqual(film);
  });

  test.each<[string, string, Timing, string[]]>([
    ['nobody states a rate of the project', '60000/1001', {}, []],
    ['the clip has it', '24000/1001', slow, []],
    ['nobody says what becomes of others', '60000/1001', { projectRate: film }, ['off-speed-kept']],
    ['it is to be kept', '60000/1001', { projectRate: film, offSpeed: 'own-rate' }, ['off-speed-kept']],
    ['the clip is slower', '15', { ...slow, projectRate: ratio(24) }, ['rate-unsupported']],
    ['the clip is a little slower', '24000/1001', { ...slow, projectRate: ratio(25) }, ['off-speed-kept']],
    [
      'it is to be played at a rate that nobody states',
      '50',
      { offSpeed: 'project-rate' },
      ['project-rate-missing'],
    ],
  ])('%s: the rate is kept, or the clip held', (_title, rate, timing, codes) => {
    const decided = cadenceOf(at(rate, rate === '15' ? null : '01:00:00:00', timing), policy);
    expect(codesOf(decided)).toEqual(codes);
    if (!('findings' in decided)) expect(decided.rate).toEqual(parseRate(rate));
  });

  test('numbered frames that were recorded slower are played faster, without audio; where nobody asks they keep their rate', () => {
    const frames = (timing: Timing): ClipFacts => ({
      ...at('24', '01:00:00:05', timing),
      kind: 'sequence',
      video: { ...at('24', null).video, rate: ratio(12) },
      timecode: { frame: 12 * 3600 + 5, base: 12, drop: false },
    });
    const asked: Timing = { projectRate: ratio(24), offSpeed: 'project-rate', offSpeedAudio: 'real-time' };
    const decided = made(frames(asked));
    expect(decided).toMatchObject({ rate: ratio(24), frames: 72 });
    expect(decided.cadence.offSpeed).toEqual({
      captured: ratio(12),
      slower: ratio(1, 2),
      audio: 'leave-out',
    });
    expect(formatTimecode(decided.timecode)).toBe('01:00:00:10');
    // 72 frames at 24 last three seconds, where they took six.
    const lasts = (ticks: number): boolean =>
      lastsAsLong(frames(asked), decided.cadence, { ticks, timeBase: ratio(1, 24), rate: ratio(24) });
    expect([lasts(72), lasts(144)]).toEqual([true, false]);
    expect(codesOf(cadenceOf(frames({ projectRate: ratio(24) }), policy))).toEqual(['rate-unsupported']);
  });

  test('the settings go before the profile, and a copy that keeps every sample keeps its rate', () => {
    const facts = at('50', '01:00:00:00', { projectRate: ratio(25) });
    const rate = { off_speed: 'project-rate' } as const;
    expect(made(facts, { rate }).rate).toEqual(ratio(25));
    expect(made({ ...facts, timing: { ...facts.timing, offSpeed: 'own-rate' } }, { rate }).rate).toEqual(
      ratio(50),
    );
    expect(made(facts, { rate, keepsTime: true }).rate).toEqual(ratio(50));
  });

  test('a rate that timecode does not count is played at one that it does', () => {
    const facts = clipFacts({
      video: { rate: ratio(240) },
      timecode: null,
      timing: { ...slow, timecode: '10:00:00:00' },
    });
    expect(made(facts).timecode).toEqual(parseTimecode('10:00:00:00', film));
  });

  test('labels that count for the project already are kept', () => {
    const facts = clipFacts({
      video: { rate: ratio(60000, 1001) },
      timecode: parseTimecode('10:00:00:20', 24),
      timing: slow,
    });
    expect(formatTimecode(made(facts).timecode)).toBe('10:00:00:20');
  });

  test('as much audio as was heard: 72 frames at 59.94 are 57657.6 samples at 48 kHz', () => {
    expect(samplesByClip(at('60000/1001', null), { constant: null }, 48_000, film)).toBe(57_657);
  });
});

describe('no timecode', () => {
  const movie = (metadata: Record<string, string>, timing: Timing = {}): ClipFacts =>
    clipFacts({ timecode: null, timecodeFrom: null, metadata, timing });
  const berlin: Timing = { timeZone: 'Europe/Berlin' };
  const created = 'com.apple.quicktime.creationdate';

  test.each<[string, Record<string, string>, Timing, string | null]>([
    [
      'UTC in the zone of the show, in summer',
      { creation_time: '2026-07-01T10:11:12.000000Z' },
      berlin,
      '12:11:12:00',
    ],
    ['and in winter', { creation_time: '2026-11-30T10:11:12.000000Z' }, berlin, '11:11:12:00'],
    ['into the next day', { creation_time: '2026-11-30T23:30:00.000000Z' }, berlin, '00:30:00:00'],
    ['with a part of a second', { creation_time: '2026-11-30T10:11:12.500000Z' }, berlin, '11:11:12:12'],
    ['just below a whole second', { creation_time: '2026-11-30T10:11:12.999999Z' }, berlin, '11:11:12:23'],
    [
      'a zone of its own before UTC',
      { creation_time: '2026-11-30T10:11:12Z', [created]: '2026-11-30T12:11:13+0200' },
      {},
      '12:11:13:00',
    ],
    [
      'a zone of its own, in that of the show',
      { [created]: '2026-11-30T12:11:13+0200' },
      berlin,
      '11:11:13:00',
    ],
    ['UTC, of no zone', { creation_time: '2026-11-30T10:11:12.000000Z' }, {}, null],
    ['the epoch of QuickTime', { creation_time: '1904-01-01T00:00:00.000000Z' }, berlin, null],
    ['the epoch of Unix', { creation_time: '1970-01-01T00:00:00.000000Z' }, berlin, null],
    ['a day that is none', { creation_time: '2026-02-30T10:11:12Z' }, berlin, null],
    ['no field at all', {}, berlin, null],
    [
      'the epoch, and another field',
      { creation_time: '1904-01-01T00:00:00Z', [created]: '2026-11-30T12:11:13+0100' },
      berlin,
      '12:11:13:00',
    ],
  ])('time of day: %s', (_title, metadata, timing, label) => {
    const facts = movie(metadata, timing);
    const decided = cadenceOf(facts, { ...policy, timecode: { missing: 'time-of-day' } });
    if (label === null) {
      expect(codesOf(decided)).toEqual(['timecode-missing']);
      expect(made(facts, { timecode: { missing: 'time-of-day-or-zero' } }).cadence.timecodeFrom).toBe('zero');
      return;
    }
    if ('findings' in decided) throw new Error(JSON.stringify(decided.findings));
    expect(formatTimecode(decided.timecode)).toBe(label);
    expect(decided.cadence.timecodeFrom).toBe('time-of-day');
    expect(codesOf(decided)).toEqual(['timecode-time-of-day']);
    // The checker reads the field again, through the system's own clock.
    expect(startByClip(facts, decided.cadence, decided.rate)).toBe(label);
  });

  test('frames of raw cameras: local time, with the part of the second', () => {
    const capDate = {
      name: 'capDate',
      type: 'string',
      from: 'DateTimeOriginal',
      values: [{ frame: 0, value: '2026:11:30 09:08:07' }],
    } as const;
    const facts: ClipFacts = {
      ...movie({}, berlin),
      kind: 'sequence',
      stated: { attributes: [{ ...capDate, values: [...capDate.values] }], left: [] },
    };
    expect(formatTimecode(made(facts, { timecode: { missing: 'time-of-day' } }).timecode)).toBe(
      '09:08:07:00',
    );
  });

  test.each<[string, Timing, string | null, string[]]>([
    ['a start in the settings', { timecode: '10:00:00:00' }, '10:00:00:00', ['timecode-from-settings']],
    [
      'before what a clock says',
      { timecode: '10:00:00:12', ...berlin, timecodeMissing: 'time-of-day' },
      '10:00:00:12',
      ['timecode-from-settings'],
    ],
    ['a label that does not exist', { timecode: '10:00:00:24' }, null, ['timecode-setting-wrong']],
    ['drop-frame where there is none', { timecode: '10:00:00;00' }, null, ['timecode-setting-wrong']],
    ['zero', { timecodeMissing: 'zero' }, '00:00:00:00', ['timecode-assumed']],
    ['held', {}, null, ['timecode-missing']],
  ])('%s', (_title, timing, label, codes) => {
    const facts = movie({ creation_time: '2026-11-30T10:11:12.000000Z' }, timing);
    const decided = cadenceOf(facts, policy);
    expect(codesOf(decided)).toEqual(codes);
    expect('findings' in decided ? null : formatTimecode(decided.timecode)).toBe(label);
    if (!('findings' in decided)) expect(startByClip(facts, decided.cadence, decided.rate)).toBe(label);
  });

  test('a timecode of the file goes before a start in the settings, which is reported', () => {
    const decided = made(at('24000/1001', '01:00:00:00', { timecode: '10:00:00:00' }));
    expect(formatTimecode(decided.timecode)).toBe('01:00:00:00');
    expect(codesOf(decided)).toEqual(['timecode-setting-unused']);
  });

  test('counted at the rate that it is delivered at', () => {
    const facts = at('60000/1001', null, {
      projectRate: film,
      offSpeed: 'project-rate',
      timecode: '10:00:00:23',
    });
    expect(made(facts).timecode).toEqual({ frame: 864_023, base: 24, drop: false });
  });
});

describe('a frame of each field', () => {
  const split = { earlier: 'top' } as const;
  // Digits by SMPTE ST 12-1, which gives both fields of a frame one number: at twice the base each has its own.
  test.each([
    ['30000/1001', '10:00:59;28', '60000/1001', '10:00:59;56'],
    ['30000/1001', '00:01:00;02', '60000/1001', '00:01:00;04'],
    ['30000/1001', '23:59:59:29', '60000/1001', '23:59:59:58'],
    ['25', '01:02:03:24', '50', '01:02:03:48'],
    ['24000/1001', '00:00:00:23', '48000/1001', '00:00:00:46'],
  ])('%s from %s on: %s from %s on, twice as many, as long', (from, label, to, expected) => {
    const clip = at(from, label);
    const decided = made(clip, { split });
    expect([formatRatio(decided.rate), decided.frames]).toEqual([to, 144]);
    expect(formatTimecode(decided.timecode)).toBe(expected);
    expect(decided.cadence).toMatchObject({ split, offSpeed: null, constant: null, timecodeFrom: 'file' });
    expect(decided.notes.map(({ code }) => code)).toEqual(['fields-split']);
    expect(startByClip(clip, decided.cadence, decided.rate)).toBe(expected);
    expect(formatRatio(rateByClip(clip, decided.cadence) ?? ratio(1))).toBe(to);
    const [num, den] = [decided.rate.num, decided.rate.den];
    const lasts = (frames: number): boolean =>
      lastsAsLong(clip, decided.cadence, {
        ticks: frames * den,
        timeBase: ratio(1, num),
        rate: decided.rate,
      });
    expect([lasts(144), lasts(143), lasts(72)]).toEqual([true, false, false]);
    expect(samplesByClip(clip, decided.cadence, 48_000, decided.rate)).toBe(
      samplesByClip(clip, { constant: null }, 48_000, parseRate(from)),
    );
  });

  test('the labels of a frame, halved, are the label that the camera gave it, over a dropped minute and a day', () => {
    for (const label of ['00:00:59;20', '00:09:59;20', '23:59:59;20']) {
      const clip = at('30000/1001', label);
      const { timecode } = made(clip, { split });
      const camera = clip.timecode as NonNullable<ClipFacts['timecode']>;
      for (let frame = 0; frame < 72; frame += 1)
        for (const field of [0, 1]) {
          const shown = formatTimecode(addFrames(timecode, 2 * frame + field));
          const half = String(Math.floor(Number(shown.slice(9)) / 2)).padStart(2, '0');
          expect(`${shown.slice(0, 9)}${half}`).toBe(formatTimecode(addFrames(camera, frame)));
        }
    }
  });

  test('is a clip of that rate to the policies of the project', () => {
    const slower = made(at('30000/1001', '01:00:00;00', { projectRate: film }), {
      split,
      rate: { off_speed: 'project-rate' },
    });
    expect(slower).toMatchObject({
      rate: film,
      frames: 144,
      cadence: { offSpeed: { captured: { num: 60_000, den: 1001 }, slower: { num: 5, den: 2 } } },
    });
    expect(codesOf(made(at('25', '01:00:00:00', { projectRate: ratio(50) }), { split }))).toEqual([
      'fields-split',
    ]);
  });

  test('a start that nobody recorded is in labels of the deliverable', () => {
    const stated = made(at('25', null, { timecode: '10:00:00:49' }), { split });
    expect(formatTimecode(stated.timecode)).toBe('10:00:00:49');
    expect(made(at('25', null, { timecodeMissing: 'zero' }), { split }).timecode).toMatchObject({
      frame: 0,
      base: 50,
    });
  });

  test('of a rate whose double timecode does not count there is none', () => {
    expect(codesOf(cadenceOf(at('100', '01:00:00:00'), { ...policy, split }))).toContain('rate-unsupported');
  });
});
