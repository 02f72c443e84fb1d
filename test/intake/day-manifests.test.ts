/** Manifests of a whole day, made by programs outside the project at the day's top, and by the ASC MHL reference scenario. */
import { execFileSync } from 'node:child_process';
import { appendFileSync, cpSync, mkdirSync, readFileSync, rmSync, symlinkSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { c4OfBytes } from '../../files/manifest/c4.ts';
import { intakeRoll } from '../../coordinator/intake/index.ts';
import { findRolls } from '../../coordinator/roll/rolls.ts';
import type { IntakeResult } from '../../ledger/roll.ts';
import { freshFolder } from '../support/folder.ts';

interface Day {
  readonly base: string;
  readonly day: string;
  readonly copy: string;
}

/** Two rolls, and a copy of the day; no manifest yet. */
function makeDay(): Day {
  const base = freshFolder('days');
  const day = join(base, 'day-03');
  for (const [path, text] of [
    ['A001/Clips/foundry-1.mov', 'molten bronze'],
    ['A001/sheet.txt', 'bell, first casting'],
    ['B001/Clips/yard-1.mov', 'the yard'],
  ] as const) {
    mkdirSync(join(day, path, '..'), { recursive: true });
    writeFileSync(join(day, path), text);
  }
  return { base, day, copy: join(base, 'copy') };
}

const PROGRAMS = {
  md5: 'md5sum',
  sha256: 'sha256sum',
  xxh64: 'xxhsum -H64',
  xxh128: 'xxhsum -H128',
} as const;

/** As the program lists every file of the rolls when it is run in `folder`. */
function listed(folder: string, program: string, what = 'A001 B001'): string {
  return execFileSync('sh', ['-c', `find ${what} -type f | sort | xargs ${program} 2>/dev/null`], {
    cwd: folder,
    encoding: 'utf8',
  });
}

async function check(
  day: string,
  { copies = [], manifests = [] }: { copies?: string[]; manifests?: string[] } = {},
): Promise<{
  rolls: Record<string, { verified: boolean[]; reported: string[]; manifests: number }>;
  ofDay: string[];
}> {
  const folders = { day, dayName: 'day-03', copies, manifests };
  const { rolls, dayManifests, findings } = await findRolls(folders);
  const results: IntakeResult[] = [];
  for (const { name, folder } of rolls)
    results.push(
      await intakeRoll({ day: 'day-03', roll: name, folder, copies, manifests, dayManifests, readers: 1 }),
    );
  const text = ({ code, file }: { code: string; file?: string | undefined }): string =>
    file === undefined ? code : `${code} ${file}`;
  return {
    rolls: Object.fromEntries(
      results.map((item) => [
        item.roll,
        {
          verified: item.copies.map(({ verified }) => verified),
          reported: item.findings.filter(({ code }) => code !== 'copy-same-drive').map(text),
          manifests: item.manifests.length,
        },
      ]),
    ),
    ofDay: findings.map(text),
  };
}

const good = { verified: [true], reported: [], manifests: 1 };

describe('a list at the top of the day', () => {
  test.each(Object.entries(PROGRAMS))('of %s proves every roll that it lists (%s)', async (kind, program) => {
    const { day } = makeDay();
    writeFileSync(join(day, `day-03.${kind}`), listed(day, program));
    expect(await check(day)).toEqual({ rolls: { A001: good, B001: good }, ofDay: [] });
    writeFileSync(join(day, 'B001/Clips/yard-1.mov'), 'The yard');
    rmSync(join(day, 'A001/sheet.txt'));
    writeFileSync(join(day, 'A001/new.mov'), 'x');
    expect((await check(day)).rolls).toEqual({
      A001: {
        verified: [false],
        reported: ['roll-file-absent sheet.txt', 'file-unlisted new.mov'],
        manifests: 1,
      },
      B001: { verified: [false], reported: ['file-checksum-differs Clips/yard-1.mov'], manifests: 1 },
    });
  });

  const places: [
    what: string,
    place: (at: Day) => { list: string; from: string; what: string; asked: object },
  ][] = [
    [
      'made in the folder above the day',
      ({ base, day }) => ({ list: `${day}/all.md5`, from: base, what: 'day-03', asked: {} }),
    ],
    [
      'at the top of a copy',
      ({ copy }) => ({ list: `${copy}/all.md5`, from: copy, what: '.', asked: { copies: [copy] } }),
    ],
    [
      'in a folder of manifests',
      ({ base, day }) => ({
        list: `${base}/man/all.md5`,
        from: day,
        what: 'A001 B001',
        asked: { manifests: [`${base}/man`] },
      }),
    ],
    [
      'in the folder of the day in a folder of manifests',
      ({ base, day }) => ({
        list: `${base}/man/day-03/all.md5`,
        from: day,
        what: 'A001 B001',
        asked: { manifests: [`${base}/man`] },
      }),
    ],
  ];
  test.each(places)('counts %s', async (_, place) => {
    const at = makeDay();
    execFileSync('cp', ['-a', at.day, at.copy]);
    const { list, from, what, asked } = place(at);
    mkdirSync(join(list, '..'), { recursive: true });
    writeFileSync(list, listed(from, 'md5sum', what));
    const result = await check(at.day, asked);
    expect(result.ofDay).toEqual([]);
    for (const roll of ['A001', 'B001'])
      expect(result.rolls[roll]).toMatchObject({ reported: [], manifests: 1 });
  });

  test('and the manifest of a roll are both held to', async () => {
    const { day } = makeDay();
    writeFileSync(join(day, 'A001/A001.md5'), listed(join(day, 'A001'), 'md5sum', 'Clips sheet.txt'));
    writeFileSync(
      join(day, 'all.md5'),
      listed(day, 'md5sum').replace(/^[0-9a-f]{32}(?= .A001\/sheet)/m, '0'.repeat(32)),
    );
    const { rolls } = await check(day);
    expect(rolls.A001).toMatchObject({ verified: [false], manifests: 2 });
    expect(rolls.A001?.reported).toContain(`manifest-contradiction ${day}/all.md5`);
    expect(rolls.B001).toEqual(good);
  });

  test('that lists a roll which is not there holds the day', async () => {
    const { day } = makeDay();
    writeFileSync(join(day, 'all.md5'), listed(day, 'md5sum'));
    rmSync(join(day, 'B001'), { recursive: true });
    expect((await check(day)).ofDay).toEqual([`roll-only-in-manifest ${day}/all.md5`]);
  });

  test('that names loose files says that they are not read', async () => {
    const { day } = makeDay();
    writeFileSync(join(day, 'notes.txt'), 'rain');
    writeFileSync(join(day, 'all.md5'), listed(day, 'md5sum', 'A001 B001 notes.txt'));
    const result = await check(day);
    expect(result.ofDay).toEqual([`manifest-entries-outside-rolls ${day}/all.md5`]);
    expect(result.rolls).toEqual({ A001: good, B001: good });
  });

  test('that cannot be used is named with the reason, and the rolls have no manifest', async () => {
    const { day } = makeDay();
    writeFileSync(join(day, 'clips.md5'), listed(join(day, 'A001'), 'md5sum', 'Clips'));
    symlinkSync('clips.md5', join(day, 'link.md5'));
    const { rolls, ofDay } = await check(day);
    expect(ofDay).toEqual([`manifest-not-used ${day}/clips.md5`, `manifest-not-used ${day}/link.md5`]);
    expect(rolls.A001?.reported).toEqual(['manifest-missing']);
  });

  test('that cannot be read holds every roll', async () => {
    const { day } = makeDay();
    writeFileSync(join(day, 'all.mhl'), '<hashlist version="1.1"><hash>');
    expect((await check(day)).rolls).toMatchObject({
      A001: { verified: [false], reported: [`manifest-unreadable ${day}/all.mhl`] },
      B001: { verified: [false], reported: [`manifest-unreadable ${day}/all.mhl`] },
    });
  });

  test('written with backslashes is read where the files are found so, with a note', async () => {
    const { day } = makeDay();
    writeFileSync(join(day, 'all.md5'), listed(day, 'md5sum').replaceAll('/', '\\'));
    const { rolls } = await check(day);
    expect(rolls.A001).toEqual({ ...good, reported: [`manifest-path-separators ${day}/all.md5`] });
    expect(rolls.B001?.verified).toEqual([true]);
  });
});

describe('an ASC MHL history at the top of the day', () => {
  /** The reference scenario's roll with its own history (see SOURCES.md), beside B001, below a history of the day. */
  function withHistory(): { day: string; generation: string; seal: () => void } {
    const { day } = makeDay();
    rmSync(join(day, 'A001'), { recursive: true });
    cpSync(join(import.meta.dirname, '../fixtures/manifests/scenario_01/A002R2EC'), join(day, 'A002R2EC'), {
      recursive: true,
    });
    const inner = 'A002R2EC/ascmhl/0001_A002R2EC_2020-01-16_091500Z.mhl';
    // The C4 ID that the scenario's own chain records of its generation.
    const c4 = /<c4>(.*?)<\/c4>/.exec(
      readFileSync(join(day, 'A002R2EC/ascmhl/ascmhl_chain.xml'), 'utf8'),
    )?.[1];
    const file = 'B001/Clips/yard-1.mov';
    const xxh64 = execFileSync('xxhsum', ['-H64', file], { cwd: day, encoding: 'utf8' }).slice(0, 16);
    const generation = join(day, 'ascmhl/0001_day-03_2026-01-02_030405Z.mhl');
    mkdirSync(join(day, 'ascmhl'));
    writeFileSync(
      generation,
      `<?xml version="1.0" encoding="UTF-8"?>
<hashlist version="2.0" xmlns="urn:ASC:MHL:v2.0"><creatorinfo><creationdate>2026-01-02T03:04:05+00:00</creationdate><hostname>foundry</hostname><tool version="1">hand</tool></creatorinfo><processinfo><process>in-place</process><ignore><pattern>.DS_Store</pattern><pattern>ascmhl/</pattern></ignore></processinfo><hashes><hash><path size="8">${file}</path><xxh64 action="original">${xxh64}</xxh64></hash></hashes><references><hashlistreference><path>${inner}</path><c4>${c4}</c4></hashlistreference></references></hashlist>
`,
    );
    const seal = (): void =>
      writeFileSync(
        join(day, 'ascmhl/ascmhl_chain.xml'),
        `<?xml version="1.0" encoding="UTF-8"?>\n<ascmhldirectory xmlns="urn:ASC:MHL:DIRECTORY:v2.0"><hashlist sequencenr="1"><path>0001_day-03_2026-01-02_030405Z.mhl</path><c4>${c4OfBytes(readFileSync(generation))}</c4></hashlist></ascmhldirectory>\n`,
      );
    seal();
    execFileSync(
      'xmllint',
      [
        '--noout',
        '--nonet',
        '--schema',
        join(import.meta.dirname, '../fixtures/manifests/ASCMHL.xsd'),
        generation,
      ],
      { stdio: 'pipe' },
    );
    return { day, generation, seal };
  }

  test('is no roll, and proves the rolls below it together with their own histories', async () => {
    const { day } = withHistory();
    expect(await check(day)).toEqual({ rolls: { A002R2EC: good, B001: good }, ofDay: [] });
    writeFileSync(join(day, 'B001/Clips/yard-1.mov'), 'The yard');
    expect((await check(day)).rolls.B001?.reported).toEqual(['file-checksum-differs Clips/yard-1.mov']);
  });

  test('counts below a folder of manifests', async () => {
    const { day } = withHistory();
    const apart = join(day, '../man');
    mkdirSync(apart);
    execFileSync('mv', [join(day, 'ascmhl'), apart]);
    expect(await check(day, { manifests: [apart] })).toEqual({
      rolls: { A002R2EC: good, B001: good },
      ofDay: [],
    });
  });

  test('whose chain is broken holds the rolls that it lists', async () => {
    const { day, generation } = withHistory();
    appendFileSync(generation, '\n');
    const { rolls } = await check(day);
    for (const roll of ['A002R2EC', 'B001'])
      expect(rolls[roll]?.reported).toContain(`manifest-chain-broken ${generation}`);
  });

  test('holds the roll whose own history is another than it recorded, and no other', async () => {
    const { day } = withHistory();
    const inner = join(day, 'A002R2EC/ascmhl/0001_A002R2EC_2020-01-16_091500Z.mhl');
    appendFileSync(inner, '\n');
    const { rolls } = await check(day);
    expect(rolls.A002R2EC?.reported.filter((item) => item === `manifest-chain-broken ${inner}`)).not.toEqual(
      [],
    );
    expect(rolls.B001).toEqual(good);
  });

  test('that is a link is named, and is no roll', async () => {
    const { day } = withHistory();
    execFileSync('sh', ['-c', 'mv ascmhl ../real && ln -s ../real ascmhl'], { cwd: day });
    const { rolls, ofDay } = await check(day);
    expect(Object.keys(rolls)).toEqual(['A002R2EC', 'B001']);
    expect(ofDay).toEqual([`manifest-not-used ${day}/ascmhl`]);
  });
});
