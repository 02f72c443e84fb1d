/** Labels of stills above 30 frames a second: pairs (SMPTE ST 12-1:2014, 12.1), single frames, and what neither explains. */
import { describe, expect, test } from 'vitest';
import { blocks } from '../../findings/finding.ts';
import type { StoredTimecode } from '../../media/formats/still.ts';
import { timecodeInHeaders } from '../../media/sequence/facts.ts';
import { timecodeFindings } from '../../media/sequence/judge.ts';
import { formatTimecode } from '../../media/time/timecode.ts';

const stored = (frames: number, seconds = 0, drop = false): { timecode: StoredTimecode } => ({
  timecode: { hours: 10, minutes: 0, seconds, frames, drop },
});

describe('labels above 30 a second', () => {
  test.each([
    [
      'pairs at 48',
      { num: 48, den: 1 },
      [stored(22), stored(22), stored(23), stored(23), stored(0, 1)],
      '10:00:00:44',
    ],
    [
      'pairs at 50, from the second of one on',
      { num: 50, den: 1 },
      [stored(7), stored(8), stored(8), stored(9)],
      '10:00:00:15',
    ],
    [
      'pairs at 59.94, drop-frame',
      { num: 60_000, den: 1001 },
      [stored(28, 59, true), stored(28, 59, true), stored(29, 59, true)],
      '10:00:59;56',
    ],
    ['single frames at 48', { num: 48, den: 1 }, [stored(29), stored(30), stored(31)], '10:00:00:29'],
  ] as const)('%s', (_, rate, headers, label) => {
    const { timecode, text, still } = timecodeInHeaders(headers, rate);
    expect(timecode === null ? null : formatTimecode(timecode)).toBe(label);
    expect([text, still]).toEqual([null, false]);
  });

  test.each([
    ['at 120, beyond what pairs count', { num: 120, den: 1 }, [stored(17), stored(17), stored(18)]],
    ['that jump', { num: 50, den: 1 }, [stored(7), stored(7), stored(12), stored(12)]],
    ['of a single frame', { num: 50, den: 1 }, [stored(7)]],
  ] as const)('%s: kept as text and reported', (_, rate, headers) => {
    const found = timecodeInHeaders(headers, rate);
    expect(found.timecode).toBeNull();
    expect(found.text).toMatch(/^10:00:00:\d\d$/);
    const place = {
      kind: 'sequence',
      folder: '',
      prefix: 'a',
      suffix: '.dng',
      padding: 4,
      first: 1,
      count: headers.length,
      statedRate: null,
    } as const;
    const findings = timecodeFindings(place, found, {});
    expect(findings.map(({ code }) => code)).toEqual(['timecode-kept-as-text']);
    expect(findings.some(blocks)).toBe(false);
  });

  test('one label in all of them stands still', () => {
    expect(timecodeInHeaders([stored(7), stored(7), stored(7)], { num: 50, den: 1 }).still).toBe(true);
  });
});
