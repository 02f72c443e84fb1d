/** A clip that is cut, in a simulated night: times are counted by hand. */
import { expect, test } from 'vitest';
import { afterSegments, type OfCut } from '../../coordinator/forecast/cut.ts';
import { simulate } from '../../coordinator/forecast/simulate.ts';
import { listed } from '../../coordinator/forecast/waiting.ts';

interface Timed extends OfCut {
  readonly name: string;
  readonly seconds: number;
}
const segment = (name: string): Timed => ({ name, seconds: 10, cut: { clip: 'a', joins: false } });
const joining: Timed = { name: 'join', seconds: 3, cut: { clip: 'a', joins: true } };
const other: Timed = { name: 'other', seconds: 10 };

const night = (slots: number, jobs: readonly Timed[], running: readonly Timed[] = []) =>
  simulate<Timed>({
    machines: [{ id: 'one', slots }],
    waiting: afterSegments(listed<Timed>(), running),
    releases: [{ at: 0, jobs }],
    running: running.map((job) => ({ job, machine: 'one', left: 25 })),
    seconds: ({ seconds }) => seconds,
  }).map(({ job: { name }, begin, end }) => [name, begin, end]);

test('is joined when the last of its segments is made, before what waits besides', () => {
  expect(night(2, [segment('1'), joining, segment('2'), segment('3'), other])).toEqual([
    ['1', 0, 10],
    ['2', 0, 10],
    ['3', 10, 20],
    ['other', 10, 20],
    ['join', 20, 23],
  ]);
  // Ten machines make ten segments in the time of one.
  const ten = Array.from({ length: 10 }, (_, index) => segment(String(index)));
  expect(night(10, [...ten, joining]).at(-1)).toEqual(['join', 10, 13]);
});

test('waits for a segment that somebody has already, and for none where all are made', () => {
  expect(night(2, [segment('2'), joining], [segment('1')])).toEqual([
    ['2', 0, 10],
    ['1', 0, 25],
    ['join', 25, 28],
  ]);
  expect(night(1, [joining, other])).toEqual([
    ['join', 0, 3],
    ['other', 3, 13],
  ]);
});
