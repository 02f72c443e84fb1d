/** The gate writes a statement with a ready verdict, and takes it away before anything else stands there. */
import { existsSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { decideRoll } from '../../coordinator/gate/decide.ts';
import type { GateInput } from '../../coordinator/gate/input.ts';
import { writeDecision } from '../../coordinator/gate/disk.ts';
import { judgeStatement } from '../../coordinator/provenance/audit.ts';
import { partsDecided } from '../../coordinator/provenance/parts.ts';
import { finding } from '../../findings/finding.ts';
import { statementOf } from '../../ledger/provenance/build.ts';
import { envelopeBytes } from '../../ledger/provenance/envelope.ts';
import { verdictDigest } from '../../ledger/provenance/predicate.ts';
import { STATEMENT_MEDIA_TYPE, statementSchema } from '../../ledger/provenance/statement.ts';
import { readRecord } from '../../ledger/store.ts';
import { freshFolder } from '../support/folder.ts';
import { goodWorld } from '../support/world.ts';

const sha = (digit: string): string => digit.repeat(64);

/** The good world, with digests that are some. */
function provedWorld(): ReturnType<typeof goodWorld> {
  const world = goodWorld();
  for (const disk of world.disk.values()) {
    if (disk.report?.file) disk.report.file.sha256 = sha('b');
    disk.reportSha256 = sha('d');
    disk.fingerprintsSha256 = sha('e');
  }
  if (world.input.intake !== null)
    world.input.intake = {
      ...world.input.intake,
      manifests: [
        {
          file: '/day-03/A001/checksums.md5',
          kind: 'checksum-file',
          files: 5,
          digests: [{ file: 'checksums.md5', sha256: sha('c') }],
        },
      ],
    };
  return world;
}

async function write(folder: string, input: GateInput): Promise<void> {
  await writeDecision(folder, decideRoll(input), {
    onDisk: input.onDisk,
    stills: new Map(),
  });
}

const statement = (folder: string): string => readFileSync(join(folder, 'statement.json'), 'utf8');
const onDisk = (folder: string): string[] =>
  ['statement.json', 'statement.dsse.json', 'roll.json'].filter((name) => existsSync(join(folder, name)));

function sign(folder: string): void {
  writeFileSync(
    join(folder, 'statement.dsse.json'),
    envelopeBytes(STATEMENT_MEDIA_TYPE, readFileSync(join(folder, 'statement.json')), [
      { keyid: 'k', sig: Buffer.alloc(64) },
    ]),
  );
}

describe('a ready roll', () => {
  test('gets a statement of all its outputs and reports', async () => {
    const folder = freshFolder('decision');
    await write(folder, provedWorld().input);
    const { subject, predicate } = JSON.parse(statement(folder)) as {
      subject: { name: string }[];
      predicate: { records: { name: string }[] };
    };
    expect(subject.map(({ name }) => name)).toEqual([
      'cut/A001C001.mov',
      'cut/A001C002.mov',
      'look/A001C001.mov',
      'look/A001C002.mov',
    ]);
    expect(predicate.records.map(({ name }) => name)).toEqual([
      'reports/A001C001.json',
      'reports/A001C002.json',
      ...['A001C001.cut', 'A001C001.look', 'A001C002.cut', 'A001C002.look'].map(
        (name) => `reports/deliverables/${name}.json`,
      ),
      'reports/fingerprints/A001C001.fingerprints',
      'reports/fingerprints/A001C002.fingerprints',
    ]);
  });

  test('that is decided again at another time keeps statement and signature', async () => {
    const folder = freshFolder('decision');
    const { input } = provedWorld();
    await write(folder, input);
    sign(folder);
    const before = statement(folder);
    await write(folder, { ...input, decidedAt: '2026-01-02T06:00:00Z' });
    expect(statement(folder)).toBe(before);
    expect(onDisk(folder)).toEqual(['statement.json', 'statement.dsse.json', 'roll.json']);
  });

  test.each<[string, (world: ReturnType<typeof goodWorld>) => void]>([
    [
      'an output has other bytes',
      (world) => {
        if (world.first.file) world.first.file.sha256 = sha('9');
      },
    ],
    [
      'a report has other bytes',
      (world) => {
        const disk = world.disk.get('A001C001/cut');
        if (disk) disk.reportSha256 = sha('9');
      },
    ],
    [
      'fingerprints have other bytes',
      (world) => {
        const disk = world.disk.get('A001C001/cut');
        const other = world.disk.get('A001C001/look');
        if (disk && other) disk.fingerprintsSha256 = other.fingerprintsSha256 = sha('9');
      },
    ],
    [
      'a clip was measured otherwise',
      (world) =>
        void (world.input.clips = world.input.clips.map((entry) => ({
          ...entry,
          facts: entry.facts && { ...entry.facts, reel: 'A001' },
        }))),
    ],
    [
      'another note is reported',
      (world) =>
        void (world.input.findings = [finding('store-restarted', 'signal SIGKILL', 'a store that stays up')]),
    ],
  ])('gets another statement and loses its signature when %s', async (_, change) => {
    const folder = freshFolder('decision');
    await write(folder, provedWorld().input);
    sign(folder);
    const before = statement(folder);
    const world = provedWorld();
    change(world);
    await write(folder, world.input);
    expect(statement(folder)).not.toBe(before);
    expect(onDisk(folder)).toEqual(['statement.json', 'roll.json']);
  });

  test('loses a signed statement that is not the one beside it', async () => {
    const folder = freshFolder('decision');
    const { input } = provedWorld();
    await write(folder, input);
    writeFileSync(
      join(folder, 'statement.dsse.json'),
      envelopeBytes(STATEMENT_MEDIA_TYPE, Buffer.from('{}'), [{ keyid: 'k', sig: Buffer.alloc(64) }]),
    );
    await write(folder, input);
    expect(onDisk(folder)).toEqual(['statement.json', 'roll.json']);
  });
});

describe('an output that is a folder', () => {
  const checksumList = { path: 'reports/checksums/A001C001.cut.bbbbbbbbbbbbbbbb.sha256', sha256: sha('b') };

  function folderWorld(): ReturnType<typeof goodWorld> {
    const world = provedWorld();
    const disk = world.disk.get('A001C001/cut');
    Object.assign(world.first, {
      checksumList,
      outcome: { ...world.first.outcome, fileName: 'A001C001' },
      file: { path: 'cut/A001C001', bytes: 1234, xxh128: 'aa', sha256: sha('b'), files: 4 },
    });
    Object.assign(disk as object, { checksumListSha256: sha('b'), folder: { files: 4, differences: [] } });
    return world;
  }

  test("is named by the digest of its checksum list, by in-toto's name for it, and the checksum list is a record", async () => {
    const folder = freshFolder('decision');
    await write(folder, folderWorld().input);
    const { subject, predicate } = JSON.parse(statement(folder)) as {
      subject: object[];
      predicate: { records: object[] };
    };
    expect(subject[0]).toEqual({ name: 'cut/A001C001', digest: { dirHash: sha('b') } });
    expect(subject[1]).toEqual({ name: 'cut/A001C002.mov', digest: { sha256: sha('b') } });
    expect(predicate.records).toContainEqual({ name: checksumList.path, digest: { sha256: sha('b') } });
  });

  test('is held against the statement by that name, and by no other', async () => {
    const folder = freshFolder('decision');
    const world = folderWorld();
    const { verdict, clipReports } = decideRoll(world.input);
    await write(folder, world.input);
    const expected = statementOf(partsDecided(verdict, clipReports, world.disk));
    const judged = async (): Promise<string> =>
      judgeStatement(await readRecord(join(folder, 'statement.json'), statementSchema), expected, 'A001')
        .state;
    expect(await judged()).toBe('fits');
    const written = statement(folder);
    for (const spoiled of [
      written.replace('"dirHash"', '"sha256"'),
      written.replace(`"dirHash": "${sha('b')}"`, `"dirHash": "${sha('9')}"`),
      written.replace(
        '"name": "cut/A001C002.mov",\n      "digest": {\n        "sha256"',
        '"name": "cut/A001C002.mov",\n      "digest": {\n        "dirHash"',
      ),
      written.replace('reports/checksums/', 'reports/other/'),
    ]) {
      expect(spoiled).not.toBe(written);
      writeFileSync(join(folder, 'statement.json'), spoiled);
      expect(await judged()).toBe('differs');
    }
  });

  test('gets another statement when its checksum list has other bytes', async () => {
    const folder = freshFolder('decision');
    await write(folder, folderWorld().input);
    const before = statement(folder);
    const world = folderWorld();
    Object.assign(world.first, {
      checksumList: { ...checksumList, sha256: sha('9') },
      file: { ...world.first.file, sha256: sha('9') },
    });
    Object.assign(world.disk.get('A001C001/cut') as object, { checksumListSha256: sha('9') });
    await write(folder, world.input);
    expect(statement(folder)).not.toBe(before);
  });
});

test('a roll that is held has no statement, whatever stood there', async () => {
  const folder = freshFolder('decision');
  const { input } = provedWorld();
  await write(folder, input);
  sign(folder);
  await write(folder, {
    ...input,
    findings: [finding('run-running', '2 jobs', 'an end', { roll: 'A001' })],
  });
  expect(onDisk(folder)).toEqual(['roll.json']);
});

test('the digest of a verdict is the same at another time, and another for anything else that it says', () => {
  const { verdict } = decideRoll(provedWorld().input);
  const digest = verdictDigest(verdict);
  expect(digest).toMatch(/^[0-9a-f]{64}$/);
  expect(verdictDigest({ ...verdict, decidedAt: '2027-01-01T00:00:00Z' })).toBe(digest);
  // However its fields are ordered.
  expect(verdictDigest(Object.fromEntries(Object.entries(verdict).reverse()) as typeof verdict)).toBe(digest);
  const others = [
    { ...verdict, verdict: 'held' as const },
    { ...verdict, otherFiles: [] },
    { ...verdict, copiesAsked: 1 },
    { ...verdict, later: 1.5 },
    { ...verdict, roll: 'A002' },
  ];
  expect(new Set([digest, ...others.map(verdictDigest)]).size).toBe(others.length + 1);
});
