/** A movie has its name only while all that belongs beside it has its own, wherever the program ends. */
import { existsSync, mkdirSync, readdirSync, readFileSync, symlinkSync, writeFileSync } from 'node:fs';
import { rename, rm } from 'node:fs/promises';
import { basename, join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { digestOfFile } from '../../files/digest.ts';
import { publishFile, StagedFileLostError } from '../../files/publish.ts';
import {
  publishTogether,
  type StagedFile,
  type TogetherMoves,
  type TogetherRequest,
} from '../../files/publish-together.ts';
import { freshFolder } from '../support/folder.ts';

const NEW = { mov: 'the new pictures', clf: 'the new transform', amf: 'the new way' } as const;
const OLD = { mov: 'older pictures', clf: 'an older transform', amf: 'an older way' } as const;
type Set3 = Partial<Record<'mov' | 'clf' | 'amf', string>>;

const put = (folder: string, stem: string, set: Set3): void => {
  for (const [ending, text] of Object.entries(set)) writeFileSync(join(folder, `${stem}.${ending}`), text);
};
const named = (folder: string): Set3 =>
  Object.fromEntries(
    readdirSync(folder)
      .filter((name) => name.startsWith('bell.'))
      .map((name) => [name.slice('bell.'.length), readFileSync(join(folder, name), 'utf8')]),
  );

/** The set that `new` stages, with whatever of it still lies there or has its name. */
async function requestOf(
  folder: string,
  older: Set3 = {},
  wanted: readonly ('clf' | 'amf')[] = ['clf', 'amf'],
): Promise<TogetherRequest> {
  const ours = new Set<string>();
  for (const [index, text] of [...Object.values(older), ...Object.values(NEW)].entries()) {
    const path = join(freshFolder('digest'), String(index));
    writeFileSync(path, text);
    ours.add((await digestOfFile(path)).xxh128);
  }
  const place = (ending: string): string => {
    const staged = join(folder, `.rushlight-part-now.${ending}`);
    return existsSync(staged) ? staged : join(folder, `bell.${ending}`);
  };
  const beside: StagedFile[] = [];
  for (const ending of wanted)
    beside.push({
      staged: place(ending),
      final: join(folder, `bell.${ending}`),
      checked: await digestOfFile(place(ending)),
    });
  return {
    staged: join(folder, '.rushlight-part-now.mov'),
    final: join(folder, 'bell.mov'),
    checked: await digestOfFile(place('mov')),
    isOurs: (digest) => ours.has(digest),
    beside,
    obsolete: wanted.includes('clf') ? [] : [join(folder, 'bell.clf')],
  };
}

class Killed extends Error {}

/** Ends the program before its move number `at`, and looks before each whether a movie stands beside what is not its own. */
function movesUntil(folder: string, at: number, seen: Set3[]): TogetherMoves {
  let done = 0;
  const step = (): void => {
    seen.push(named(folder));
    if (done === at) throw new Killed();
    done += 1;
  };
  return {
    async publish(request) {
      step();
      return await publishFile(request);
    },
    async rename(from, to) {
      step();
      await rename(from, to);
    },
    async remove(path) {
      step();
      await rm(path, { force: true });
    },
  };
}

const cases: [string, Set3][] = [
  ['where nothing stands', {}],
  ['over an older set of ours', OLD],
  ['over an older movie of ours without sidecars', { mov: OLD.mov }],
  ['over the same movie with another transform', { ...NEW, clf: OLD.clf }],
  ['over sidecars that are the same already', { mov: OLD.mov, clf: NEW.clf, amf: NEW.amf }],
];

describe.each(cases)('%s', (_, older) => {
  test('ended before any step, no movie ever stands beside what is not its own, and the next try finishes', async () => {
    let ends = 0;
    for (let at = 0; ; at += 1) {
      const folder = freshFolder('set');
      put(folder, 'bell', older);
      put(folder, '.rushlight-part-now', NEW);
      const seen: Set3[] = [];
      const first = await publishTogether(await requestOf(folder, older), movesUntil(folder, at, seen)).catch(
        (error: unknown) => {
          if (!(error instanceof Killed)) throw error;
          return null;
        },
      );
      for (const set of [...seen, named(folder)])
        if (set.mov !== undefined)
          // An older movie alone with nothing changed beside it, or the whole new set.
          expect([older, NEW]).toContainEqual(set);
      if (seen.length <= at) {
        expect(first).not.toBeNull();
        expect(named(folder)).toEqual(NEW);
        expect(readdirSync(folder).filter((name) => name.startsWith('.'))).toEqual([]);
        break;
      }
      ends += 1;
      // What the next run finds is what is staged still, or has its name.
      if (existsSync(join(folder, '.rushlight-part-now.mov')))
        await publishTogether(await requestOf(folder, older));
      expect(named(folder)).toEqual(NEW);
    }
    expect(ends).toBeGreaterThanOrEqual(1);
  });
});

test('a transform that the new set does not have is taken away where it is ours, and left where it is not', async () => {
  const folder = freshFolder('set');
  put(folder, 'bell', OLD);
  put(folder, '.rushlight-part-now', { mov: NEW.mov, amf: NEW.amf });
  expect(await publishTogether(await requestOf(folder, OLD, ['amf']))).toEqual({ kind: 'replaced' });
  expect(named(folder)).toEqual({ mov: NEW.mov, amf: NEW.amf });
  const others = freshFolder('others');
  put(others, 'bell', { clf: 'of somebody else' });
  put(others, '.rushlight-part-now', { mov: NEW.mov, amf: NEW.amf });
  await publishTogether(await requestOf(others, {}, ['amf']));
  expect(named(others)).toEqual({ mov: NEW.mov, amf: NEW.amf, clf: 'of somebody else' });
});

test.each<[string, (folder: string) => void]>([
  ['a sidecar name that somebody else has', (folder) => put(folder, 'bell', { amf: 'of somebody else' })],
  ['a movie of somebody else', (folder) => put(folder, 'bell', { mov: 'of somebody else' })],
  ['a folder with the name of a sidecar', (folder) => void mkdirSync(join(folder, 'bell.clf'))],
  ['a link with the name of a sidecar', (folder) => symlinkSync('/nowhere', join(folder, 'bell.clf'))],
])('%s is refused, and nothing is changed', async (_, occupy) => {
  const folder = freshFolder('taken');
  occupy(folder);
  put(folder, '.rushlight-part-now', NEW);
  const request = await requestOf(folder);
  const before = readdirSync(folder).sort();
  expect(await publishTogether(request)).toMatchObject({ kind: 'taken' });
  expect(readdirSync(folder).sort()).toEqual(before);
});

test.each(['mov', 'clf', 'amf'] as const)(
  'a staged %s that was changed after it was looked at is seen, and nothing has a name',
  async (ending) => {
    const folder = freshFolder('changed');
    put(folder, '.rushlight-part-now', NEW);
    const request = await requestOf(folder);
    writeFileSync(join(folder, `.rushlight-part-now.${ending}`), NEW[ending].replace('new', 'odd'));
    await expect(publishTogether(request)).rejects.toThrow(StagedFileLostError);
    expect(readdirSync(folder).filter((name) => basename(name).startsWith('bell'))).toEqual([]);
  },
);
