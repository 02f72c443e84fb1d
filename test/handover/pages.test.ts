/** Pages on disk: written by a run and by `page` from records alone, only where something changes, and never in the way of a verdict. */
import { createHash } from 'node:crypto';
import {
  cpSync,
  existsSync,
  mkdirSync,
  readFileSync,
  renameSync,
  rmSync,
  statSync,
  symlinkSync,
  writeFileSync,
} from 'node:fs';
import { join } from 'node:path';
import { beforeAll, expect, test } from 'vitest';
import { type NightRecord, writeNight } from '../../handover/night.ts';
import { packageFolder } from '../../files/installation.ts';
import { pngOf } from '../../worker/stills/png.ts';
import { commandProcess } from '../support/cli.ts';
import { delivered, makeDelivered } from '../support/delivered.ts';
import { freshFolder } from '../support/folder.ts';
import { pictureWithDetail } from '../support/mornings.ts';
import { smallProfile } from '../support/night.ts';
import { faultsIn } from '../support/schemas.ts';

beforeAll(makeDelivered);
const run = commandProcess();

/** A copy of the delivery, to be changed. */
function copied(): { delivery: string; page: string; roll: string; day: string } {
  const delivery = join(freshFolder('pages'), 'delivery');
  cpSync(delivered.delivery, delivery, { recursive: true });
  const day = join(delivery, 'day-07');
  return { delivery, day, page: join(day, 'handover', 'morning.html'), roll: join(delivery, delivered.roll) };
}

/** Two stills of each clip, as a run leaves them: files beside the reports, named in the record by their bytes. */
async function withStills(roll: string): Promise<string[]> {
  const record = join(roll, 'roll.json');
  const verdict = JSON.parse(readFileSync(record, 'utf8')) as {
    clips: { clip: { id: string }; stills?: unknown }[];
  };
  const files: string[] = [];
  mkdirSync(join(roll, 'reports', 'stills'), { recursive: true });
  for (const entry of verdict.clips) {
    const stills: object[] = [];
    for (const frame of [2, 8]) {
      const samples = Buffer.from(pictureWithDetail(64, 36, frame + files.length).samples);
      const bytes = await pngOf({ width: 64, height: 36, bits: 8, samples, primaries: 'bt709', texts: [] });
      const file = `reports/stills/${entry.clip.id}.00000${frame}.png`;
      writeFileSync(join(roll, file), bytes);
      const sha256 = createHash('sha256').update(bytes).digest('hex');
      stills.push({
        frame,
        timecode: `01:00:00:0${frame}`,
        width: 64,
        height: 36,
        bytes: bytes.length,
        sha256,
        file,
      });
      files.push(file);
    }
    entry.stills = stills;
  }
  writeFileSync(record, JSON.stringify(verdict));
  return files;
}

interface Document {
  readonly written: readonly string[];
  readonly findings: readonly { readonly code: string; readonly found: string; readonly file?: string }[];
}

async function pages(delivery: string, code = 0): Promise<Document> {
  const result = await run(['page', delivery, '--json']);
  expect(result.code, result.stderr).toBe(code);
  return JSON.parse(result.stdout) as Document;
}

const headingOf = (page: string): string =>
  /<h1>(?:<bdi>)?(.*?)(?:<\/bdi>)?<\/h1>/.exec(readFileSync(page, 'utf8'))?.[1] ?? '';

const night = (over: Partial<NightRecord>): Omit<NightRecord, 'version' | 'kind'> => ({
  day: 'day-07',
  run: 'a-run',
  began: '2026-11-30T21:12:00.000Z',
  ended: null,
  interrupted: false,
  rolls: [{ roll: 'A005', verdict: null, recorded: false, findings: [] }],
  findings: [],
  ...over,
});

test('a run leaves the page and the page of the show; with stills on record come pictures and a contact sheet, the same bytes each time', async () => {
  const { delivery, page, day, roll } = copied();
  expect(headingOf(page)).toBe('The one roll is ready.');
  expect(readFileSync(page, 'utf8')).toContain('no still');
  expect(await pages(delivery)).toMatchObject({ written: [], findings: [] });
  await withStills(roll);
  await pages(delivery);
  expect(headingOf(page)).toBe('The one roll is ready.');
  const text = readFileSync(page, 'utf8');
  expect(text).toContain('A005C001');
  expect(text.match(/src="data:image\/jpeg;base64,/g)).toHaveLength(2);
  const sheet = join(day, 'handover', 'sheets', 'A005.jpg');
  expect(readFileSync(sheet).subarray(0, 3).toString('hex')).toBe('ffd8ff');
  expect(headingOf(join(delivery, 'show.html'))).toBe('The deliverables of the one day are made alike.');
  const before = statSync(page).ino;
  // Nothing to say: nothing is written.
  expect(await pages(delivery)).toMatchObject({ written: [], findings: [] });
  expect(statSync(page).ino).toBe(before);
  const [whole, picture] = [readFileSync(page), readFileSync(sheet)];
  rmSync(page);
  rmSync(sheet);
  expect((await pages(delivery)).written).toEqual([sheet, page]);
  expect(readFileSync(page).equals(whole)).toBe(true);
  expect(readFileSync(sheet).equals(picture)).toBe(true);
});

test('the records of a night, and of how a day was made, fit their schemas', () => {
  const { day } = copied();
  const record = (name: string): unknown =>
    JSON.parse(readFileSync(join(day, 'handover', `${name}.json`), 'utf8'));
  expect(record('night')).toMatchObject({
    day: 'day-07',
    interrupted: false,
    ended: expect.any(String),
    rolls: [{ roll: 'A005', verdict: 'ready', recorded: true, findings: [] }],
  });
  expect(faultsIn('night', record('night'))).toEqual([]);
  expect(record('made')).toMatchObject({ day: 'day-07', rolls: 1, ready: 1, clips: 2 });
  expect(faultsIn('made', record('made'))).toEqual([]);
});

test('an audit finds nothing foreign in them', async () => {
  const { delivery } = copied();
  const result = await run(['audit', delivery, '--json']);
  const { findings } = JSON.parse(result.stdout) as Document;
  expect(findings.filter(({ code }) => code === 'delivery-file-foreign')).toEqual([]);
});

test('a still that is not the one on record is not shown, and the page says what it can', async () => {
  const { delivery, roll, page } = copied();
  const [shown = '', , other = ''] = await withStills(roll);
  // The first of two is that of the middle.
  writeFileSync(join(roll, shown), readFileSync(join(roll, other)));
  const { findings } = await pages(delivery);
  expect(findings).toMatchObject([{ code: 'still-not-shown', file: `A005/${shown}` }]);
  const text = readFileSync(page, 'utf8');
  expect(text.match(/src="data:image\/jpeg;base64,/g)).toHaveLength(1);
  expect(text).toContain('no still');
});

test('a file of somebody else is left, also where a folder leads elsewhere', async () => {
  const { delivery, page, day } = copied();
  writeFileSync(page, 'my own notes');
  expect(await pages(delivery, 1)).toMatchObject({
    findings: [{ code: 'page-not-written', file: page, found: 'a file that is not ours is there' }],
  });
  expect(readFileSync(page, 'utf8')).toBe('my own notes');
  const elsewhere = join(delivery, '..', 'elsewhere');
  renameSync(join(day, 'handover'), elsewhere);
  symlinkSync(elsewhere, join(day, 'handover'));
  expect(await pages(delivery, 1)).toMatchObject({
    findings: [{ code: 'page-not-written', found: 'a symbolic link' }],
  });
  expect(readFileSync(join(elsewhere, 'morning.html'), 'utf8')).toBe('my own notes');
});

test('a run that stopped before its end, and one that was interrupted: the page says so, and names the rolls that it did not come to', async () => {
  const { delivery, day, page } = copied();
  const rolls: NightRecord['rolls'] = [
    { roll: 'A005', verdict: 'ready', recorded: true, findings: [] },
    { roll: 'B001', verdict: null, recorded: false, findings: [] },
  ];
  await writeNight(day, night({ rolls }));
  await pages(delivery);
  expect(headingOf(page)).toBe('The run stopped before its end. 1 of 2 rolls is ready. B001 is held.');
  await writeNight(day, night({ rolls, ended: '2026-11-30T23:00:00.000Z', interrupted: true }));
  await pages(delivery);
  expect(headingOf(page)).toBe('The run was interrupted. 1 of 2 rolls is ready. B001 is held.');
  expect(readFileSync(page, 'utf8')).toContain('The run did not come to this roll');
});

test('a day of which no roll has a record, and records that are damaged', async () => {
  const { delivery, day, page, roll } = copied();
  writeFileSync(join(roll, 'roll.json'), '{"version": 0, "kind": "ro');
  await pages(delivery);
  expect(headingOf(page)).toBe('The one roll is not ready. A005 is held.');
  expect(readFileSync(page, 'utf8')).toContain('record-damaged');
  rmSync(roll, { recursive: true });
  writeFileSync(join(day, 'handover', 'night.json'), 'torn');
  await pages(delivery);
  expect(headingOf(page)).toBe('There is no roll here.');
});

test('two days: what differs is on the page, in the notes, and in the page of the show', async () => {
  const { delivery, day, page } = copied();
  const other = join(delivery, 'day-06');
  cpSync(day, other, { recursive: true });
  const made = join(other, 'handover', 'made.json');
  writeFileSync(
    made,
    readFileSync(made, 'utf8').replaceAll('320x180', '640x360').replaceAll('"day-07"', '"day-06"'),
  );
  const result = await run(['page', delivery, '--day', 'day-07', '--json']);
  const { findings } = JSON.parse(result.stdout) as Document;
  expect(findings).toMatchObject([
    { code: 'day-made-otherwise', found: expect.stringContaining('raster: 320x180') },
  ]);
  expect(readFileSync(page, 'utf8')).toContain('What differs from <bdi>day-06</bdi>');
  expect(headingOf(join(delivery, 'show.html'))).toBe('The deliverables of 2 days differ in raster.');
});

test('`plan` says before the night how the day will differ from the one before it, and writes nothing', async () => {
  const { delivery, day } = copied();
  renameSync(day, join(delivery, 'day-06'));
  const plan = async () => {
    const result = await run([
      ...['plan', delivered.day, '--deliver', delivery, '--profile', join(packageFolder, smallProfile)],
      ...['--stills', '0', '--json', '--quiet'],
    ]);
    expect(result.code, result.stderr).toBe(0);
    return JSON.parse(result.stdout) as Document & { readonly differences: unknown };
  };
  expect((await plan()).differences).toEqual({ before: 'day-07', differences: [] });
  const made = join(delivery, 'day-06', 'handover', 'made.json');
  writeFileSync(
    made,
    readFileSync(made, 'utf8').replaceAll('1 x stereo', '2 x mono').replaceAll('"day-07"', '"day-06"'),
  );
  const { differences, findings } = await plan();
  expect(differences).toMatchObject({
    before: 'day-06',
    differences: [
      { what: 'audio layout', profile: 'small-vc3', where: null, why: 'recorded with 2 channels' },
    ],
  });
  expect(findings).toMatchObject([
    { code: 'day-made-otherwise', expected: expect.stringContaining('2 x mono') },
  ]);
  expect(existsSync(day)).toBe(false);
}, 240_000);

test.each([
  ['a folder that is not there', (folder: string) => join(folder, 'nowhere'), [], 'folder-missing'],
  ['a folder without a day', (folder: string) => folder, [], 'delivery-empty'],
])('%s is refused', async (_, place, more, code) => {
  const folder = join(freshFolder('pages'), 'empty');
  mkdirSync(folder);
  const result = await run(['page', place(folder), ...more, '--json']);
  expect(result.code).toBe(2);
  expect(JSON.parse(result.stdout)).toMatchObject({ kind: 'refusal', findings: [{ code }] });
  expect(existsSync(join(folder, 'show.html'))).toBe(false);
});

test('a day that the delivery does not have is refused, with those that it has', async () => {
  const result = await run(['page', delivered.delivery, '--day', 'day-08', '--json']);
  expect(result.code).toBe(2);
  expect(JSON.parse(result.stdout)).toMatchObject({
    findings: [{ code: 'folder-missing', expected: 'day-07' }],
  });
});
