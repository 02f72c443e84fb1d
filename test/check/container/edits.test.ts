/** A deliverable with one field or one box changed is held, with the place and the byte; what only informs is a note. */
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import type { Judged } from '../../../check/container-verdict.ts';
import { judgeMovie } from '../../../check/movie/judge.ts';
import { readMovie } from '../../../check/movie/read.ts';
import { loadProfiles } from '../../../profiles/load.ts';
import { isMovie, type Profile } from '../../../profiles/schema.ts';
import { freshFolder, madeOnce, sharedFolder } from '../../support/folder.ts';
import { type Made, makeAll } from '../../support/make.ts';
import { makeMovie } from '../../support/media.ts';
import { MovieEditor } from '../../support/movie-editor.ts';
import { type Edit, edits, type Kind } from './edits.ts';

const files = {
  vc3: 'test/fixtures/profiles/small-vc3.yaml',
  rdd36: 'test/campaign/profiles/small-rdd36.yaml',
  h264: 'test/fixtures/profiles/small-h264.yaml',
} as const satisfies Record<Kind, string>;
const kinds = Object.keys(files) as Kind[];
const made = new Map<Kind, Made>();
const clean = (kind: Kind): Made => made.get(kind) as Made;

beforeAll(async () => {
  const folder = join(sharedFolder, 'container-edits');
  const { profiles } = await loadProfiles({ wanted: kinds.map((kind) => files[kind]) });
  const source = join(folder, 'A001C001.mov');
  await madeOnce(folder, async () => {
    await makeMovie(source, { frames: 60, size: '320x180', audio: [2, 1], timecode: '01:00:00:00' });
  });
  const wanted = profiles.filter(isMovie).map(({ profile }): Profile => profile);
  const all = await makeAll(source, wanted, join(folder, `made-${process.pid}`));
  for (const [index, kind] of kinds.entries()) made.set(kind, all[index] as Made);
}, 240_000);

async function judged(kind: Kind, bytes: Buffer): Promise<Judged> {
  const { outcome, checked } = clean(kind);
  const path = join(freshFolder('edited'), outcome.fileName);
  writeFileSync(path, bytes);
  return judgeMovie(await readMovie(path, { pictures: outcome.frames }), outcome, checked.facts);
}

const edited = (kind: Kind, { apply }: Pick<Edit, 'apply'>): Buffer => {
  const bytes = readFileSync(clean(kind).path);
  return apply(new MovieEditor(bytes), bytes);
};

describe.each(kinds)('%s', (kind) => {
  test('as it was made it passes, and the editor gives the same bytes where nothing is edited', async () => {
    expect(clean(kind).checked.findings).toEqual([]);
    const bytes = readFileSync(clean(kind).path);
    expect(new MovieEditor(bytes).bytes().equals(bytes)).toBe(true);
    const { faults, notes, parts, fields } = await judged(kind, bytes);
    expect([faults, notes]).toEqual([[], []]);
    expect([parts, fields].every((count) => count > 50)).toBe(true);
  });

  test.each(
    edits
      .filter((edit) => edit.note !== true && edit.kinds.includes(kind))
      .map((edit) => [edit.title, edit] as const),
  )('%s: held', async (_title, edit) => {
    const bytes = edited(kind, edit);
    expect(bytes.equals(readFileSync(clean(kind).path))).toBe(false);
    const { faults } = await judged(kind, bytes);
    expect(faults.map(({ found }) => found).join('\n')).toMatch(edit.says);
  });

  test.each(
    edits
      .filter((edit) => edit.note === true && edit.kinds.includes(kind))
      .map((edit) => [edit.title, edit] as const),
  )('%s: a note', async (_title, edit) => {
    const { faults, notes } = await judged(kind, edited(kind, edit));
    expect(faults).toEqual([]);
    expect(notes.map(({ found }) => found).join('\n')).toMatch(edit.says);
  });
});
