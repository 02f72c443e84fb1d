/** What a stretch of a clip must come out as: the whole clip's decision, cut. */
import { expect, test } from 'vitest';
import type { ClipFacts } from '../../media/facts.ts';
import { ratio } from '../../media/time/rate.ts';
import { formatTimecode, parseTimecode } from '../../media/time/timecode.ts';
import { loadProfiles } from '../../profiles/load.ts';
import { decideOutcome } from '../../profiles/outcome/any.ts';
import type { MasterOutcome } from '../../profiles/master/outcome.ts';
import { clipFacts, clipNamed } from '../support/facts.ts';
import { interpretation } from '../support/master.ts';

async function outcome(
  facts: Partial<ClipFacts>,
  stretch?: { readonly start: number; readonly frames: number; readonly day: string },
): Promise<MasterOutcome> {
  const { profiles } = await loadProfiles({ wanted: ['grading-master-exr'] });
  const profile = profiles[0]?.profile;
  if (profile === undefined) throw new Error('no profile');
  const own = clipNamed('A001C001');
  const decided = decideOutcome({
    day: 'day-07.pull-x',
    roll: 'A001',
    clip: stretch === undefined ? own : { ...own, stretch },
    facts: clipFacts({ ...facts, interpretation }),
    profile,
  });
  if (decided.outcome === null) throw new Error(JSON.stringify(decided.findings));
  return decided.outcome as MasterOutcome;
}
const stretch = { start: 10, frames: 4, day: 'day-07' };
const labels = ({ timecode, first, frames, fileName, stem }: MasterOutcome): unknown[] => [
  formatTimecode(timecode),
  first,
  frames,
  fileName,
  stem,
];

test('drop-frame, over a minute: the label is the tenth after the first, and numbers go on with it', async () => {
  const rate = ratio(30000, 1001);
  const facts = { timecode: parseTimecode('01:00:59;25', rate), video: { ...clipFacts().video, rate } };
  // ;25 to ;29 are five frames; 01:01:00;02 is the next one (SMPTE ST 12-1).
  expect(labels(await outcome(facts, stretch))).toEqual([
    '01:01:00;07',
    ...[109_697, 4, 'A001C001.0109697-0109700', 'A001C001'],
  ]);
  expect((await outcome(facts)).first).toBe(109_687);
});

test('off-speed: counted at the rate of the project from the first label, not carried over from the source', async () => {
  const facts = {
    timecode: parseTimecode('01:00:00:25', ratio(50)),
    video: { ...clipFacts().video, rate: ratio(50) },
    timing: { projectRate: ratio(25), offSpeed: 'project-rate' as const },
  };
  const whole = await outcome(facts);
  const part = await outcome(facts, stretch);
  // Half of the second had gone by: 12 of 25. Ten frames later it is 22; frame 10 of the source says 01:00:00:35.
  expect([formatTimecode(whole.timecode), formatTimecode(part.timecode)]).toEqual([
    '01:00:00:12',
    '01:00:00:22',
  ]);
  expect([part.rate, part.stretch]).toEqual([ratio(25), { start: 10, of: whole.frames }]);
});

test('over midnight labels begin anew', async () => {
  const facts = { timecode: parseTimecode('23:59:59:20', 24) };
  expect(labels(await outcome(facts, stretch)).slice(0, 2)).toEqual(['00:00:00:06', 2_073_606]);
});

test('all else is decided as of the whole clip', async () => {
  const [whole, part] = [await outcome({}), await outcome({}, stretch)];
  const { amf, fileName, first, frames, stretch: _, timecode, estimatedBytes, bytesRange, ...same } = part;
  expect(whole).toMatchObject(same);
  expect(amf.uuid).not.toBe(whole.amf.uuid);
});

test('frames that the clip does not have are refused', async () => {
  const { frames } = await outcome({});
  await expect(outcome({}, { ...stretch, start: frames - 3 })).rejects.toThrow(RangeError);
});
