/** Names of a master's frames by each way of numbering them, from clips on disk. */
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { surveySequence } from '../../coordinator/survey/sequence.ts';
import type { Job } from '../../ledger/job.ts';
import type { ClipFacts } from '../../media/facts.ts';
import { loadProfiles } from '../../profiles/load.ts';
import { frameFileName } from '../../profiles/master/frame-name.ts';
import type { MasterOutcome } from '../../profiles/master/outcome.ts';
import type { MasterProfile } from '../../profiles/master/schema.ts';
import { decideOutcome } from '../../profiles/outcome/any.ts';
import { freshFolder } from '../support/folder.ts';
import { factsOf, mediaTools } from '../support/make.ts';
import { interpretation } from '../support/master.ts';
import { makeMovie, makeSequence } from '../support/media.ts';
import { rawClip } from '../support/masters.ts';

type Place = Job['clip']['place'];
type Numbering = MasterProfile['numbering']['from'];
type Clip = { readonly place: Place; readonly facts: ClipFacts };

async function movie(): Promise<Clip> {
  const path = await makeMovie(join(freshFolder(), 'A001C001.mov'), {
    frames: 3,
    audio: [],
    timecode: '10:00:00:12',
  });
  return { place: { kind: 'movie', file: 'A001C001.mov' }, facts: await factsOf(path) };
}

async function numbered(): Promise<Clip> {
  const roll = freshFolder();
  await makeSequence(join(roll, 'A001C001'), { frames: 3, first: 1001, size: '64x36', prefix: 'A001C001.' });
  const place: Place = {
    kind: 'sequence',
    folder: 'A001C001',
    prefix: 'A001C001.',
    suffix: '.dpx',
    padding: 5,
    first: 1001,
    count: 3,
    statedRate: { num: 24, den: 1 },
  };
  const { facts, findings } = await surveySequence({
    rollFolder: roll,
    place,
    tools: await mediaTools(),
    subject: {},
  });
  if (facts === null) throw new Error(JSON.stringify(findings));
  return { place, facts };
}

test.each<[string, () => Promise<Clip>, Numbering, string]>([
  ['a movie by its timecode: 10 h and 12 frames at 24000/1001', movie, 'timecode', 'A001C001.0864012.exr'],
  ['a movie by its source, which has no numbers', movie, 'source', 'A001C001.0000001.exr'],
  ['a movie from one', movie, 'one', 'A001C001.0000001.exr'],
  ['DPX by its source', numbered, 'source', 'A001C001.0001001.exr'],
  ['DPX from one', numbered, 'one', 'A001C001.0000001.exr'],
  [
    'raw frames by their source',
    () => rawClip(freshFolder(), { width: 32, height: 24, frames: 2 }),
    'source',
    'A001C001.0000101.exr',
  ],
])('%s', async (_, clipOf, from, name) => {
  const { place, facts } = await clipOf();
  const {
    profiles: [loaded],
  } = await loadProfiles({ wanted: ['grading-master-exr'] });
  if (loaded === undefined || loaded.profile.kind !== 'master') throw new Error('no profile of a master');
  const profile = {
    ...loaded.profile,
    numbering: { ...loaded.profile.numbering, from },
    timecode: { missing: 'zero' as const },
  };
  const clip = { id: 'A001C001', name: 'A001C001', place, bytes: 1, contentDigest: '00'.repeat(32) };
  const { outcome } = decideOutcome({
    day: 'day-01',
    roll: 'A001',
    clip,
    facts: { ...facts, interpretation },
    profile,
  });
  expect(frameFileName(outcome as MasterOutcome, 0)).toBe(name);
});
