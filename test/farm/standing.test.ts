/** What is concluded of machines and of what they say: tables, without a queue. */
import { expect, test } from 'vitest';
import { asideAfter, standingFindings, standingOf } from '../../coordinator/machine/standing.ts';
import { finding } from '../../findings/finding.ts';
import {
  classQueue,
  givenBackText,
  needOf,
  type Posting,
  readGivenBack,
  readPostings,
} from '../../ledger/farm.ts';
import { machinesTrouble } from '../../worker/whose.ts';
import { jobOf } from '../support/jobs.ts';

const said = (machine: string, code: string) => ({ machine, code });
const missing = finding('source-missing', 'ENOENT', 'a file that can be read');
const gone = finding('target-gone', 'the folder is not there', 'the folder of the delivery');
const damaged = finding('clip-decode-error', 'error near frame 3', 'no error');

test.each<[string, Parameters<typeof machinesTrouble>, string | null]>([
  ['a file that is missing, said first', [[missing], {}, 'north'], 'source-missing'],
  [
    'the same, said by another machine before',
    [[missing], { witnesses: [said('south', 'source-missing')] }, 'north'],
    null,
  ],
  [
    'another thing, said by another machine before',
    [[missing], { witnesses: [said('south', 'encoder-stalled')] }, 'north'],
    'source-missing',
  ],
  [
    'the same, said by this machine before, while others are fit',
    [[missing], { witnesses: [said('north', 'source-missing')] }, 'north'],
    'source-missing',
  ],
  [
    'the same, said by this machine before, which is the only one',
    [[missing], { witnesses: [said('north', 'source-missing')], sole: 'north' }, 'north'],
    null,
  ],
  [
    'the same, said by the only machine for the first time',
    [[missing], { witnesses: [said('north', 'encoder-stalled')], sole: 'north' }, 'north'],
    'source-missing',
  ],
  [
    'a target that is gone, whoever else said it',
    [[gone], { witnesses: [said('south', 'target-gone')], sole: 'north' }, 'north'],
    'target-gone',
  ],
  ['a clip that cannot be decoded', [[damaged], {}, 'north'], null],
  ['both: the machine cannot judge the clip', [[damaged, gone], {}, 'north'], 'target-gone'],
  ['nothing', [[], {}, 'north'], null],
])('whose trouble: %s', (_, [findings, job, machine], code) => {
  expect(machinesTrouble(findings, job, machine)?.code ?? null).toBe(code);
});

test('a machine that gives back again and again is asked after longer and longer, and at last every sixteen minutes', () => {
  let aside = asideAfter(undefined, missing, 0);
  const waits = [aside.until];
  for (let times = 2; times <= 9; times += 1) {
    const now = aside.until;
    aside = asideAfter(aside, missing, now);
    waits.push(aside.until - now);
  }
  expect(waits.map((milliseconds) => milliseconds / 1000)).toEqual([10, 20, 40, 80, 160, 320, 640, 960, 960]);
});

test.each([
  ['not proved', undefined, undefined, null],
  ['proved', [], undefined, 'fit'],
  ['proved, a job came back', [], asideAfter(undefined, missing, 5_000), 'set-aside'],
  ['its time is over', [], asideAfter(undefined, missing, 0), 'fit'],
  ['not fit, whatever came back', [gone], asideAfter(undefined, missing, 5_000), 'unfit'],
] as const)('a machine that is %s', (_, proof, aside, standing) => {
  const stands = standingOf({ queue: 'q', run: 'r', weight: 1 }, proof, aside, 10_000);
  expect(stands?.standing ?? null).toBe(standing);
  if (stands === null) return;
  expect(standingFindings(stands, 'north').map(({ code, file }) => [code, file])).toEqual(
    standing === 'fit' ? [] : [[standing === 'unfit' ? 'machine-unfit' : 'machine-set-aside', 'north']],
  );
});

test('jobs of equal needs lie in one queue, others in another one', () => {
  const job = jobOf(1, 'run-1');
  const queue = classQueue('run-1', needOf(job));
  // BullMQ refuses `:` in the name of a queue.
  expect(queue).toMatch(/^rushlight-jobs-run-1-[0-9a-f]{12}$/);
  expect(classQueue('run-1', needOf({ ...jobOf(2, 'run-1'), rollFolder: '/day-03/B002' }))).toBe(queue);
  const others = [
    classQueue('run-2', needOf(job)),
    classQueue('run-1', needOf({ ...job, rollFolder: '/elsewhere/A001' })),
    classQueue('run-1', needOf({ ...job, toolchain: 'another' })),
    classQueue('run-1', { ...needOf(job), decoders: [{ name: 'LibRaw', version: '0.21.2' }] }),
    classQueue('run-1', needOf({ ...job, wave: 'proxies' })),
    classQueue('run-1', needOf({ ...job, wave: 'masters' })),
  ];
  expect(new Set([queue, ...others]).size).toBe(7);
});

test('what is posted is read earlier runs first, rarer needs first; what nobody understands is left out', () => {
  const posting: Posting = {
    version: 0,
    queue: 'a',
    run: '20260131T221503-1f2e3d4c',
    delivery: '/delivery',
    source: '/day-03',
    rolls: ['/day-03/A001'],
    toolchain: 't',
    weight: 1,
    decoders: [],
    volumes: [],
  };
  const raw = { ...posting, queue: 'b', decoders: [{ name: 'LibRaw', version: '0.21.2' }] };
  // Of a class that nobody else can do, its masters all the same come after proxies.
  const masters = { ...raw, queue: '0', wave: 'masters' as const };
  const later = { ...raw, queue: 'c', run: '20260201T221503-00000000' };
  const texts = [later, masters, posting, raw, { ...posting, queue: 'd', version: 1 }].map((one) => [
    one.queue,
    JSON.stringify(one),
  ]);
  expect(readPostings({ ...Object.fromEntries(texts), e: 'no JSON' }).map(({ queue }) => queue)).toEqual([
    'b',
    'a',
    '0',
    'c',
  ]);
});

test('a job that was given back is told from one that failed', () => {
  const back = { machine: 'id', host: 'north', finding: missing };
  expect(readGivenBack(givenBackText(back))).toEqual(back);
  expect(readGivenBack('clip-decode-error: error near frame 3')).toBeNull();
  expect(readGivenBack('given back: by hand')).toBeNull();
  expect(readGivenBack(null)).toBeNull();
});
